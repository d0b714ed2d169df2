"""Changing anything the property holds: one form for every kind of thing, retiring, renaming, and undo."""

from __future__ import annotations

from collections.abc import Sequence

from loamwright import files, upkeep
from loamwright.app.forms import elsewhere, filled_in, form_of, typed_over
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, changed
from loamwright.errors import InputError, Problem

#: The fields a person asks for most, which stand open in the form; the others are folded away.
MAIN = {
    "plot": ("name", "access", "notes", "entrance"),
    "cropping": (
        *("crop", "previous_crop", "yield_goal", "sown_on", "ended_on", "ended_by", "stand", "legume_pct"),
        *("harvest", "use"),
    ),
    "soil-test": (
        *("plot", "part", "lab", "sampled_on", "depth", "ph", "buffer_ph", "buffer_method"),
        *("organic_matter", "cec", "p", "p_unit", "p_extractant", "k", "k_unit", "k_extractant"),
        *("rec_n", "rec_p2o5", "rec_k2o", "rec_s", "rec_unit", "rec_lime", "rates_crop", "rates_season"),
    ),
    "product": ("form", "n", "p2o5", "k2o", "s", "density", "equipment", "cce", "moisture", "enp", "ecce"),
    files.SETTINGS_WORD: (
        *("name", "season", "about", "units", "currency", "keeper", "state", "guideline", "lime_guideline"),
        *("lime_region", "lime_dose_limit", "test_age_limit_years", "spreading_cost"),
        *("spreading_cost_per_pass", "hauling", "labour_per_hour", "min_rate", "least_job_share", "spare"),
    ),
    "offer": ("product", "package", "package_mass", "price", "seller", "priced_on", "delivery_fee"),
}


def back_of(ask: Ask, otherwise: str) -> str:
    """Return the page of ours to go back to."""
    back = ask.form.get("from") or ask.query.get("from") or otherwise
    return back if back.startswith("/") and not back.startswith("//") and "\\" not in back else otherwise


def _home(word: str, name: str = "") -> str:
    return {
        "plot": f"/plots/{name}" if name else "/plots",
        "cropping": f"/plots/{name.rpartition(' ')[0]}" if name else "/plots",
        "part": "/plots",
        "keep-out": "/ground",
        "way": "/ground",
        "soil-test": "/soil-tests",
        "organic": "/soil-tests",
        "product": "/products",
        "offer": "/products",
        "purchase": "/stock",
        "decision": "/decisions",
    }.get(word, "/property")


def _form(ask: Ask, word: str, name: str | None, problems: Sequence[Problem] = ()) -> Shown:
    record = ask.desk.season.record
    thing = files.thing_of(word)
    preset = {key: value for key, value in ask.query.items() if key != "from"} if name is None else {}
    fields = form_of(record, word, name, dict(ask.form) or preset, problems)
    main = MAIN.get(thing.word, tuple(field.name for field in fields))
    stated = thing.word != files.SETTINGS_WORD  # of the settings nearly all are
    shown = [field for field in fields if field.name in main or (stated and field.value) or field.wrong]
    order = {field: place for place, field in enumerate(main)}
    shown.sort(key=lambda field: order.get(field.name, len(order)))
    filled = {
        "word": thing.word,
        "plural": thing.plural,
        "name": name,
        "new_id": ask.form.get("new_id", ask.query.get("id", "")),
        "new_id_help": thing.new_id_help,
        "shown": shown,
        "folded": [field for field in fields if field not in shown],
        "from_page": back_of(ask, _home(thing.word, name or "")),
        "problems": elsewhere(problems, fields),
    }
    return Shown("app_thing.html", filled, 422 if problems else 200)


def edit(ask: Ask) -> Reply:
    """Show a thing's fields to be changed."""
    return _form(ask, ask.parts["word"], ask.parts["name"])


def save(ask: Ask) -> Reply:
    """Change what was typed over, and nothing else."""
    word, name = ask.parts["word"], ask.parts["name"]
    texts, expected = typed_over(ask)
    if not texts:
        return Go(back_of(ask, _home(word, name)))
    try:
        done = upkeep.set_fields(ask.desk.path, word, name, texts, ask.desk.today, "", expected)
    except InputError as error:
        return _form(ask, word, name, error.problems)
    return changed(back_of(ask, _home(word, name)), done)


def new(ask: Ask) -> Reply:
    """Show the form for something new."""
    return _form(ask, ask.parts["word"], None)


def add(ask: Ask) -> Reply:
    """Add what was filled in."""
    word = ask.parts["word"]
    name = ask.form.get("new_id", "").strip()
    try:
        if not name:
            thing = files.thing_of(word)
            raise InputError([Problem("id", "it has no id yet", f"Give it one: {thing.new_id_help}.")])
        done = upkeep.add(ask.desk.path, word, name, filled_in(ask), ask.desk.today, "")
    except InputError as error:
        return _form(ask, word, None, error.problems)
    return changed(back_of(ask, _home(word)), done)


def retire(ask: Ask) -> Reply:
    """Retire a thing, with the reason."""
    word, name = ask.parts["word"], ask.parts["name"]
    anyway = ask.form.get("anyway") == "yes"
    because = ask.form.get("because", "")
    try:
        done = upkeep.retire(ask.desk.path, word, name, because, ask.desk.today, "", anyway)
    except InputError as error:
        filled = {"word": word, "name": name, "because": because, "problems": error.problems}
        return Shown("app_retire.html", filled | {"from_page": back_of(ask, _home(word))}, 422)
    return changed(_home(files.thing_of(word).word) if word != "application" else "/records", done)


def ask_to_retire(ask: Ask) -> Reply:
    """Ask for the reason."""
    word, name = ask.parts["word"], ask.parts["name"]
    filled = {"word": word, "name": name, "because": "", "from_page": back_of(ask, _home(word, name))}
    return Shown("app_retire.html", filled)


def rename(ask: Ask) -> Reply:
    """Give a plot another id."""
    name, new_id = ask.parts["name"], ask.form.get("new_id", "")
    done = upkeep.rename(ask.desk.path, "plot", name, new_id, ask.desk.today, "")
    return changed(f"/plots/{new_id.strip()}", done)


def undo(ask: Ask) -> Reply:
    """Take a change back."""
    number = ask.parts["number"]
    if not number.isdecimal() or len(number) > 12:
        raise InputError([Problem("undo", f"{number!r} is no change", "See the list on the Property page.")])
    done = upkeep.undo(ask.desk.path, int(number), ask.desk.today, "")
    return changed(back_of(ask, "/property"), done)


ROUTES = (
    Route("/edit/{word}/{name}", edit, save),
    Route("/add/{word}", new, add),
    Route("/retire/{word}/{name}", ask_to_retire, retire),
    Route("/rename/plot/{name}", send=rename),
    Route("/undo/{number}", send=undo),
)
