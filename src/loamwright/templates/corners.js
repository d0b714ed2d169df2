// The corner layer: drawing and changing rings, lines and places on a Leaflet map, by mouse, finger, pen and keys.
// It measures nothing: every change is handed to `onChange`. A shape is a list of polygons, each a list of rings,
// each a list of [latitude, longitude]; a line or place is one ring of one polygon.

const NEAR = 14; // pixels: a corner this near another is drawn onto it
const MANY = 250; // handles shown at once
const LONG_EDGE = 56; // pixels: a shorter edge has no handle in its middle
const LEAST = { ring: 3, line: 2, point: 1 };

const copy = (shape) => shape.map((part) => part.map((ring) => ring.map((at) => at.slice())));

/** The place on a segment nearest to a point, in pixels, and its share of the way. */
function onSegment(p, a, b) {
  const dx = b.x - a.x;
  const dy = b.y - a.y;
  const share = Math.max(0, Math.min(1, ((p.x - a.x) * dx + (p.y - a.y) * dy) / (dx * dx + dy * dy || 1)));
  return [a.x + share * dx, a.y + share * dy, share];
}

export class Corners {
  /** neighbours: gives rings to snap to; onChange(shape, what); onChoose(); say(text). */
  constructor(map, { neighbours, onChange, onChoose, say }) {
    Object.assign(this, { map, neighbours, onChange, onChoose, say });
    map.createPane("corners").style.zIndex = 640;
    this.outline = L.layerGroup().addTo(map);
    this.handles = L.layerGroup().addTo(map);
    this.kind = null;
    this.onTap = ({ latlng }) => this.addCorner([latlng.lat, latlng.lng]);
    this.onKey = (event) => this.key(event);
    map.on("zoomend moveend", () => { this.near = null; if (this.kind) this.draw(); });
  }

  // --- beginning and ending ----------------------------------------------------------------------------

  /** Draw something new. */
  start(kind) { this.begin(kind, [[[]]], true); }

  /** Change a shape that is there. */
  edit(shape) { this.begin("ring", copy(shape), false); }

  begin(kind, shape, open) {
    this.stop();
    Object.assign(this, { kind, shape, open, chosen: null, past: [], future: [], near: null });
    this.map.on("click", this.onTap);
    this.map.doubleClickZoom.disable();
    document.addEventListener("keydown", this.onKey);
    this.draw();
  }

  stop() {
    this.kind = null;
    this.map.off("click", this.onTap);
    this.map.doubleClickZoom.enable();
    document.removeEventListener("keydown", this.onKey);
    this.outline.clearLayers();
    this.handles.clearLayers();
  }

  /** What a reload needs to go on. */
  get state() { return this.kind && { kind: this.kind, shape: this.shape, open: this.open, past: this.past }; }

  resume({ kind, shape, open, past }) {
    this.begin(kind, shape, open);
    this.past = past || [];
    this.changed("resumed");
  }

  get complete() {
    return this.shape.every((part) => part[0].length >= LEAST[this.kind]);
  }

  close() {
    if (!this.complete || !this.open) return;
    this.remember();
    this.open = false;
    this.changed("closed");
  }

  // --- changes -----------------------------------------------------------------------------------------

  remember() {
    this.past.push(JSON.stringify([this.shape, this.open]));
    this.future = [];
  }

  step(from, to) {
    if (!from.length) return;
    to.push(JSON.stringify([this.shape, this.open]));
    [this.shape, this.open] = JSON.parse(from.pop());
    this.chosen = null;
    this.changed("stepped");
  }

  undo() { this.step(this.past, this.future); }
  redo() { this.step(this.future, this.past); }

  changed(what) {
    this.draw();
    this.onChange(copy(this.shape), what);
  }

  addCorner(place) {
    if (!this.open) return;
    const ring = this.shape[0][0];
    if (this.kind === "ring" && ring.length >= 3 && this.apart(place, ring[0]) < NEAR) return void this.close();
    const at = this.snap(place, null);
    const last = ring[ring.length - 1];
    if (last && this.apart(last, at) < 3) return; // a second tap on the same place
    this.remember();
    if (this.kind === "point") ring.length = 0;
    ring.push(at);
    this.chosen = [0, 0, ring.length - 1];
    this.changed("added");
  }

  removeCorner() {
    if (!this.chosen) return;
    const [p, r, i] = this.chosen;
    const ring = this.shape[p][r];
    const least = this.open ? 0 : LEAST[this.kind];
    if (ring.length <= least && r === 0) return void this.say("A boundary keeps at least three corners.");
    this.remember();
    if (ring.length <= least) this.shape[p].splice(r, 1); // a hole of three corners goes whole
    else ring.splice(i, 1);
    this.chosen = this.shape[p][r]?.length ? [p, r, Math.min(i, this.shape[p][r].length - 1)] : null;
    this.changed("removed");
  }

  // --- snapping ----------------------------------------------------------------------------------------

  pixels(at) { return this.map.latLngToLayerPoint(at); }
  apart(a, b) { return this.pixels(a).distanceTo(this.pixels(b)); }

  /** The neighbours' rings in view, in pixels, until the view changes. */
  rings() {
    if (!this.near) {
      const view = this.map.getBounds().pad(0.2);
      this.near = this.neighbours().filter((ring) => view.intersects(L.latLngBounds(ring)))
        .map((ring) => ring.map((at) => ({ at, p: this.pixels(at) })));
    }
    return this.near;
  }

  /** A place, or a neighbour's corner or edge nearby; a corner is taken over to the last digit. */
  snap(place, except) {
    const p = this.pixels(place);
    let best = null;
    let reach = NEAR;
    const own = this.shape.flat().filter((ring) => ring !== except)
      .map((ring) => ring.map((at) => ({ at, p: this.pixels(at) })));
    for (const ring of [...this.rings(), ...own]) {
      for (const one of ring) {
        const far = p.distanceTo(one.p);
        if (far < reach) [best, reach] = [one.at.slice(), far];
      }
    }
    if (!best) {
      for (const ring of this.rings()) {
        ring.forEach((one, i) => {
          const next = ring[(i + 1) % ring.length];
          const [x, y, share] = onSegment(p, one.p, next.p);
          const far = Math.hypot(p.x - x, p.y - y);
          // On the edge itself, not on its pixels: only so the neighbour can get this very corner.
          if (far < reach) [best, reach] = [one.at.map((from, k) => from + share * (next.at[k] - from)), far];
        });
      }
    }
    this.snapped = Boolean(best);
    return best || place;
  }

  // --- drawing -----------------------------------------------------------------------------------------

  draw() {
    this.outline.clearLayers();
    const style = { className: `drawn${this.open ? " open" : ""}`, interactive: false };
    const whole = this.kind === "ring" && !this.open;
    this.line = whole ? L.polygon(this.shape, style) : L.polyline(this.shape[0][0], style);
    this.outline.addLayer(this.line);
    const focused = document.activeElement?.dataset?.corner;
    this.handles.clearLayers();
    const view = this.map.getBounds().pad(0.1);
    let left = MANY;
    this.shape.forEach((part, p) => part.forEach((ring, r) => ring.forEach((at, i) => {
      if (left <= 0 || !view.contains(at)) return;
      left -= 1;
      this.handle(at, [p, r, i], ring.length);
      const next = ring[i + 1] || (whole ? ring[0] : null);
      if (next && this.apart(at, next) > LONG_EDGE) this.middle(at, next, [p, r, i + 1]);
    })));
    if (focused) document.querySelector(`[data-corner="${focused}"]`)?.focus({ preventScroll: true });
    this.onChoose();
  }

  marker(at, className, label, size) {
    const icon = L.divIcon({ className, iconSize: [size, size] });
    const marker = L.marker(at, { pane: "corners", keyboard: true, bubblingMouseEvents: false, icon });
    this.handles.addLayer(marker);
    const element = marker.getElement();
    element.setAttribute("aria-label", label);
    L.DomEvent.disableClickPropagation(element);
    return [marker, element];
  }

  handle(at, place, count) {
    const chosen = String(this.chosen) === String(place);
    const hole = place[1] ? `, hole ${place[1]}` : "";
    const label = `Corner ${place[2] + 1} of ${count}${hole}. Arrow keys move it, Delete takes it out.`;
    const [marker, element] = this.marker(at, `corner${chosen ? " chosen" : ""}`, label, 40);
    element.dataset.corner = String(place);
    this.draggable(marker, element, place, false);
  }

  middle(a, b, place) {
    const at = this.map.layerPointToLatLng(this.pixels(a).add(this.pixels(b)).divideBy(2));
    const label = `New corner before corner ${place[2] + 1}`;
    const [marker, element] = this.marker(at, "middle", label, 32);
    element.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      this.insert(place, marker.getLatLng());
      this.changed("added");
    });
    this.draggable(marker, element, place, true);
  }

  insert([p, r, i], { lat, lng }) {
    this.remember();
    this.shape[p][r].splice(i, 0, [lat, lng]);
    this.chosen = [p, r, i];
  }

  /** Mouse, finger and pen alike: pointer events, captured by the handle. */
  draggable(marker, element, place, isNew) {
    element.addEventListener("pointerdown", (down) => {
      if (down.button > 0) return;
      down.preventDefault();
      element.setPointerCapture(down.pointerId);
      const grip = this.map.mouseEventToLayerPoint(down).subtract(this.pixels(marker.getLatLng()));
      const [p, r, i] = place;
      let moved = false;
      const move = (event) => {
        const to = this.map.mouseEventToLayerPoint(event).subtract(grip);
        if (!moved) {
          if (to.distanceTo(this.pixels(marker.getLatLng())) < 4) return;
          if (isNew) this.insert(place, marker.getLatLng());
          else this.remember();
          moved = true;
        }
        const ring = this.shape[p][r];
        const { lat, lng } = this.map.layerPointToLatLng(to);
        ring[i] = this.snap([lat, lng], ring);
        marker.setLatLng(ring[i]);
        element.classList.toggle("snapped", this.snapped);
        this.line.setLatLngs(this.kind === "ring" && !this.open ? this.shape : this.shape[0][0]);
        this.onChange(copy(this.shape), "moving");
      };
      const up = () => {
        element.removeEventListener("pointermove", move);
        element.removeEventListener("pointerup", up);
        element.removeEventListener("pointercancel", up);
        const first = !moved && !isNew && this.open && this.kind === "ring" && i === 0;
        if (first && this.shape[0][0].length >= 3) return void this.close();
        if (!isNew || moved) this.chosen = place;
        if (moved) this.changed(isNew ? "added" : "moved");
        else this.draw();
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("pointerup", up);
      element.addEventListener("pointercancel", up);
    });
  }

  // --- keys --------------------------------------------------------------------------------------------

  key(event) {
    if (event.target.matches?.("input, textarea, select, button, summary, a")) return;
    const ctrl = event.ctrlKey || event.metaKey;
    const steps = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[event.key];
    const corner = event.target.dataset?.corner?.split(",").map(Number);
    if (ctrl && event.key.toLowerCase() === "z") (event.shiftKey ? this.redo() : this.undo());
    else if (ctrl && event.key.toLowerCase() === "y") this.redo();
    else if (corner && steps) {
      const [p, r, i] = corner;
      const far = event.shiftKey ? 10 : 1;
      const to = this.pixels(this.shape[p][r][i]).add([steps[0] * far, steps[1] * far]);
      const { lat, lng } = this.map.layerPointToLatLng(to);
      this.remember();
      this.shape[p][r][i] = [lat, lng];
      this.chosen = corner;
      this.changed("moved");
    } else if (corner && (event.key === "Delete" || event.key === "Backspace")) {
      this.chosen = corner;
      this.removeCorner();
    } else if (corner && event.key === "Enter" && this.open && corner[2] === 0) this.close();
    else if (event.key === "Enter" && this.open && event.target === this.map.getContainer()) {
      const { lat, lng } = this.map.getCenter();
      this.addCorner([lat, lng]);
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
