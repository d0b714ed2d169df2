// What a page of the app does beside showing: tells when the property changed elsewhere, follows long work.
"use strict";

const byId = (id) => document.getElementById(id);

/** Tell, and load again where nothing is being typed, when the file is not as this page found it. */
function watchChanges() {
  const { dataset } = document.body;
  if (!dataset.mark || !window.EventSource) return;
  let touched = false;
  let leaving = false; // a page on its way is not held up: it may be the answer to what was just sent
  let now = dataset.mark;
  document.addEventListener("input", () => { touched = true; });
  document.addEventListener("submit", () => { touched = false; });
  window.addEventListener("beforeunload", () => {
    leaving = true;
    window.setTimeout(() => { leaving = false; judge(); }, 10000); // it was a file to save, or was stopped
  });
  const judge = () => {
    byId("elsewhere").hidden = true;
    if (leaving || now === dataset.mark) return;
    if (!touched && !document.querySelector("details[open] form, [data-progress]") && !dataset.stay) {
      const query = new URLSearchParams(window.location.search);
      for (const told of ["changed", "said", "look"]) query.delete(told); // of the change before
      window.location.replace(`${window.location.pathname}?${query}`);
    } else {
      byId("elsewhere").hidden = false;
    }
  };
  const source = new EventSource("/changes");
  source.onmessage = ({ data }) => { now = data; judge(); };
  let known = now;
  document.addEventListener("kept", () => { // a script of the page changed the property itself
    if (now === known) now = dataset.mark; // its change is not told yet, and is no news when it is
    known = dataset.mark;
    judge();
  });
}

/** Show the stages of long work as they begin, and the page anew when it is ready. */
async function followWork() {
  const place = document.querySelector("[data-progress]");
  if (!place) return;
  try {
    const told = await (await fetch(place.dataset.progress)).json();
    if (!told.running) return void window.location.reload();
    byId("ran").textContent = Math.round(told.seconds);
    byId("stages").replaceChildren(...told.stages.map((text) => {
      const item = document.createElement("li");
      item.textContent = text;
      return item;
    }));
  } catch { /* the server is away: asked again */ }
  window.setTimeout(followWork, 700);
}

/** Let files be dropped anywhere on a form that takes them. */
function takeDrops() {
  for (const form of document.querySelectorAll("form.drop")) {
    const field = form.querySelector("input[type=file]");
    for (const name of ["dragover", "dragenter"]) {
      form.addEventListener(name, (event) => { event.preventDefault(); form.classList.add("over"); });
    }
    form.addEventListener("dragleave", () => form.classList.remove("over"));
    form.addEventListener("drop", (event) => {
      event.preventDefault();
      form.classList.remove("over");
      field.files = event.dataTransfer.files;
      form.requestSubmit();
    });
  }
}

/** On a wide screen the list of pages stands open. */
function openSteps() {
  const steps = byId("steps");
  if (steps && window.matchMedia("(min-width: 900px)").matches) steps.open = true;
}

openSteps();
watchChanges();
followWork();
takeDrops();
document.querySelector("[aria-invalid=true]")?.focus();
