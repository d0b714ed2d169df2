"""The property as something one keeps: show, set, add, retire, rename, undo, buy, decide, next season.

Each function is one change: it opens the file, changes it, works the season out inside the transaction, and
confirms only what the program can read afterwards. Whatever fails leaves the file as it was.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from loamwright import files, needs, season, work
from loamwright.errors import InputError, Level, Problem
from loamwright.files import Change, Editor, Thing
from loamwright.needs import Decision
from loamwright.supplies import Movement, StockEntry
from loamwright.values import Nutrient
from loamwright.work import PropertyRecord


@dataclass(frozen=True, slots=True)
class Changed:
    """What one change did.

    Parameters
    ----------
    change_id
        Its number in the journal; 0 = nothing differed, nothing was written.
    sentence
        What was changed, for people.
    fields
        (field, before, after) as texts.
    problems
        What to look at afterwards.
    """

    change_id: int
    sentence: str
    fields: tuple[tuple[str, str, str], ...] = ()
    problems: tuple[Problem, ...] = ()


@contextmanager
def changing(path: Path, today: dt.date, command: str, by: str = "") -> Iterator[Editor]:
    """Open a property for one change that is confirmed only if its season can be worked out.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions.
    command
        What makes the change, for the journal.
    by
        Who; empty = the keeper that the settings name.

    Yields
    ------
    Editor
    """
    with files.edit(path, command, by) as editor:
        yield editor
        season.worked_out(editor.record(), today)


# ---------------------------------------------------------------------------------------------
# Showing


@dataclass(frozen=True, slots=True)
class ShownField:
    """One field of a thing as shown: its value as text and where it came from."""

    name: str
    value: str
    came_from: str
    help: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing, or the list of things of a kind.

    Parameters
    ----------
    word
        What kind.
    name
        Its id; empty for a list.
    fields
        Its fields.
    listed
        (id, name or crop …) of the things there are, for a list.
    """

    word: str
    name: str
    fields: tuple[ShownField, ...] = ()
    listed: tuple[tuple[str, str], ...] = ()


def show(path: Path, word: str, name: str | None) -> Shown:
    """Show one thing with where each value came from, or list what there is.

    Parameters
    ----------
    path
        The property file.
    word
        What kind of thing.
    name
        Its id or name; None = list them.

    Returns
    -------
    Shown

    Raises
    ------
    InputError
        When there is no such thing.
    """
    thing = files.thing_of(word)
    record = files.load(path)
    if name is None and thing.word != files.SETTINGS_WORD:
        rows = tuple((thing.name_of(item), _about(item)) for item in thing.items(record))
        return Shown(thing.word, "", listed=rows)
    item = files.find(thing, record, name or "")
    sources = _sources(thing, item, files.read_journal(path))
    rows_ = tuple(
        ShownField(
            field.name,
            files.text_of(field, item, record.info.units),
            next((sources[column] for column in field.columns if column in sources), ""),
            field.help,
        )
        for field in files.fields_of(thing, record).values()
    )
    return Shown(thing.word, thing.name_of(item), rows_)


def _about(item: Any) -> str:
    """A few words on a thing in a list."""
    for attribute in ("crop", "name", "kind", "material", "form", "package", "reason", "lab"):
        value = getattr(item, attribute, "")
        if value:
            return str(value)
    return ""


def _sources(thing: Thing, item: Any, changes: Sequence[Change]) -> Mapping[str, str]:
    """The newest change that wrote each column of a thing."""
    keys = _key(thing, item)
    found: dict[str, str] = {}
    for change in changes:
        for row in change.rows:
            own = row.table == thing.table and tuple(str(part) for part in row.key) == keys
            below = row.table in ("soil_readings", "lab_rates") and row.key[0] == keys[0]
            if own:
                found |= {column: str(change) for column in row.fields}
            elif below and thing.table == "soil_tests":
                found |= {f"{row.table}.{row.key[1]!s}": str(change), f"{row.table}.unit": str(change)}
    return found


def _key(thing: Thing, item: Any) -> tuple[str, ...]:
    """The key of a thing in the journal, as texts."""
    if thing.word == "cropping":
        return (item.plot_id, str(item.season), str(item.position))
    return ("1",) if thing.word == files.SETTINGS_WORD else (thing.name_of(item),)


# ---------------------------------------------------------------------------------------------
# Setting, adding, retiring, renaming


def set_fields(path: Path, word: str, name: str, texts: Sequence[str], today: dt.date, by: str) -> Changed:
    """Change named fields of one thing, and nothing else.

    Parameters
    ----------
    path
        The property file.
    word, name
        Which thing.
    texts
        ``"field=value"`` each.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the thing, a field or a value is wrong; nothing was changed.
    """
    thing = files.thing_of(word)
    with changing(path, today, f"set {thing.word} {name} {' '.join(texts)}".strip(), by) as editor:
        record = editor.record()
        item = files.find(thing, record, name)
        after = files.assigned(thing, record, item, texts)
        fields = files.differing(thing, record, item, after)
        if fields:
            _put(editor, thing, after)
    title = thing.word if thing.word == files.SETTINGS_WORD else f"{thing.word} {thing.name_of(item)}"
    told = f"Changed {title}." if fields else f"{title} is as you say already; nothing was changed."
    return Changed(editor.change_id, told[:1].upper() + told[1:], fields)


def _put(editor: Editor, thing: Thing, item: Any) -> None:
    if thing.word == files.SETTINGS_WORD:
        editor.put_info(item)
    else:
        getattr(editor, thing.put)([item])


def add(path: Path, word: str, name: str, texts: Sequence[str], today: dt.date, by: str) -> Changed:
    """Add one thing.

    Parameters
    ----------
    path
        The property file.
    word, name
        What kind, and its id.
    texts
        ``"field=value"`` each.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it cannot be made this way, its id is taken, or a field is wrong; nothing was changed.
    """
    thing = files.thing_of(word)
    with changing(path, today, f"add {thing.word} {name} {' '.join(texts)}".strip(), by) as editor:
        record = editor.record()
        item = files.added(thing, record, name, texts)
        _put(editor, thing, item)
        shown = ((f.name, files.text_of(f, item, record.info.units)) for f in thing.fields)
        fields = tuple((field, "—", value) for field, value in shown if value)
    return Changed(editor.change_id, f"Added {thing.word} {thing.name_of(item)}.", fields)


def uses_of(thing: Thing, record: PropertyRecord, item: Any) -> tuple[str, ...]:
    """Say what uses a thing now.

    Parameters
    ----------
    thing, item
        Which.
    record
        The property.

    Returns
    -------
    tuple of str
    """
    plan = season.Season(record, dt.date.max).plan
    lines = plan.lines if plan else ()
    done = {entry.line_id for entry in work.entries_that_count(record.applications)}
    open_lines = [line for line in lines if line.line_id not in done]
    name = thing.name_of(item)
    found: list[str] = []
    if thing.word == "plot":
        found += [f"the plan puts {line.product} on it" for line in open_lines if line.plot_id == name]
    if thing.word == "product":
        found += [f"offer {offer.offer_id} sells it" for offer in record.offers if offer.product == name]
        found += [f"the plan puts it on {line.plot_id}" for line in open_lines if line.product == name]
        left = work.stock_of(record).get(name)
        if left is not None and left.left_kg > 0.5:
            found.append(f"{left.left_kg:.0f} kg of it are in stock")
    if thing.word == "offer" and plan:
        found += [f"the plan buys {buy.count:g} of it" for buy in plan.buy if buy.offer_id == name]
    if thing.word == "spreader":
        found += [
            f"product {product.product} needs it"
            for product in record.products
            if name.casefold() in {kind.casefold() for kind in product.equipment}
        ]
    if thing.word == "soil-test":
        mine = [t for t in record.soil_tests if t.plot_id == item.plot_id and t.test_id != name]
        if not mine:
            found.append(f"it is the only soil test of plot {item.plot_id}")
    if thing.word == "part":
        found += [
            f"soil test {t.test_id} is of it"
            for t in record.soil_tests
            if t.part in (name, item.name) and t.part
        ]
    return tuple(dict.fromkeys(found))


def retire(
    path: Path, word: str, name: str, because: str, today: dt.date, by: str, anyway: bool = False
) -> Changed:
    """Retire a thing: it stays in the history, and leaves lists, sums and plans.

    Parameters
    ----------
    path
        The property file.
    word, name
        Which thing; an application by its entry id is withdrawn.
    because
        Why.
    today
        Date for the season worked out.
    by
        Who.
    anyway
        True also when something uses it.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is no such thing, no reason, or something uses it; nothing was changed.
    """
    if not because.strip():
        raise InputError([Problem("retire", "no reason is given", "Say why with `because`.")])
    if word.strip().casefold() in ("application", "entry"):
        with changing(path, today, f"withdraw {name}", by) as editor:
            editor.withdraw(name, because)
        return Changed(
            editor.change_id, f"Withdrew entry {name}: it counts no more, and stays in the record."
        )
    thing = files.thing_of(word)
    if thing.word == files.SETTINGS_WORD:
        raise InputError([Problem("retire", "settings are not retired", "Set them to something else.")])
    with changing(path, today, f"retire {thing.word} {name}", by) as editor:
        record = editor.record()
        item = files.find(thing, record, name)
        uses = uses_of(thing, record, item)
        if uses and not anyway:
            listed = "; ".join(uses[:12]) + (" …" if len(uses) > 12 else "")
            what = f"{thing.word} {thing.name_of(item)} is in use: {listed}"
            raise InputError([Problem("retire", what, "See to those first, or add `anyway`.")])
        editor.retire(thing.word, _key(thing, item), because)
    warned = tuple(Problem("retire", use, "Look at it.", Level.WARNING) for use in uses)
    return Changed(editor.change_id, f"Retired {thing.word} {thing.name_of(item)}.", problems=warned)


def rename(path: Path, word: str, name: str, new_name: str, today: dt.date, by: str) -> Changed:
    """Call a plot something else; what it was called stays its own.

    Parameters
    ----------
    path
        The property file.
    word, name, new_name
        Which, and its new id.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it is no plot, there is no such plot, or the new id is taken; nothing was changed.
    """
    thing = files.thing_of(word)
    if thing.word != "plot":
        what = f"the id of a {thing.word} is kept for ever"
        raise InputError([Problem("rename", what, f"Change its name: set {thing.word} '{name}' name=…")])
    with changing(path, today, f"rename plot {name} {new_name}", by) as editor:
        plot = files.find(thing, editor.record(), name)
        editor.rename_plot(plot.plot_id, new_name.strip())
    return Changed(
        editor.change_id,
        f"Plot {plot.plot_id} is called {new_name.strip()} now; {plot.plot_id} still finds it.",
        (("plot_id", plot.plot_id, new_name.strip()),),
    )


def undo(path: Path, change_id: int | None, today: dt.date, by: str) -> Changed:
    """Take a change back as a new change.

    Parameters
    ----------
    path
        The property file.
    change_id
        Its number; None = the newest that stands.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is none, it is taken back already, or a later change is built on it; nothing was changed.
    """
    named = "" if change_id is None else f" {change_id}"
    with changing(path, today, f"undo{named}", by) as editor:
        change = editor.undo(change_id)
    return Changed(editor.change_id, f"Took back {change}.", tuple(_described(change)))


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change of the journal as listed.

    Parameters
    ----------
    change, id
        Its number in this file, and the first letters of its id in every copy.
    made_at, made_by, command, undoes
        As in the journal.
    did
        (what, before, after) row by row.
    """

    change: int
    id: str
    made_at: str
    made_by: str
    command: str
    undoes: int | None
    did: tuple[tuple[str, str, str], ...]


def change_row(change: Change) -> ChangeRow:
    """Return a change as listed.

    Parameters
    ----------
    change
        From the journal.

    Returns
    -------
    ChangeRow
    """
    head = (change.made_at, change.made_by, change.command, change.undoes)
    return ChangeRow(change.change_id, change.uid[:8], *head, tuple(_described(change)))


def changes(path: Path) -> tuple[ChangeRow, ...]:
    """List every change made to a property, oldest first.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of ChangeRow
    """
    return tuple(map(change_row, files.read_journal(path)))


def _described(change: Change) -> Iterator[tuple[str, str, str]]:
    """Say what a change did, row by row: what, before, after."""
    for row in change.rows:
        if row.kind == "changed":
            for field, (before, after) in row.fields.items():
                yield f"{row.name}, {field}", _cell(before), _cell(after)
        else:
            yield row.name, *(("—", "added") if row.kind == "added" else ("there", "taken out"))


def _cell(value: object) -> str:
    if value is None:
        return "—"
    if isinstance(value, bytes):
        return f"a shape of {len(value)} bytes"
    text = f"{value:.9g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


# ---------------------------------------------------------------------------------------------
# Buying and deciding


def purchase(
    path: Path,
    product: str,
    count: float,
    kind: Movement,
    today: dt.date,
    by: str,
    package: str = "",
    paid: str | None = None,
    dated: str | None = None,
    seller: str = "",
    note: str = "",
) -> Changed:
    """Write down what was bought, received, returned or counted.

    Parameters
    ----------
    path
        The property file.
    product, package
        What; the package may be left out when the product is offered in one only.
    count
        Packages; of a count, all that are there.
    kind
        Bought, received, returned or counted.
    today
        Date when none is typed.
    by
        Who.
    paid, dated
        As typed; None = not stated, today.
    seller, note
        As written.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the product or package is not known, or a value is not possible; nothing was changed.
    """
    if not 0 <= count <= 1_000_000:
        raise InputError([Problem("purchase", f"{count:g} is no number of packages", "Write zero or more.")])
    with changing(path, today, f"purchase {product} {count:g} {kind.value}", by) as editor:
        record = editor.record()
        label = files.find(files.thing_of("product"), record, product)
        offers = [offer for offer in record.offers if offer.product == label.product and offer.package_kg]
        wanted = [o for o in offers if not package or o.package.casefold() == package.strip().casefold()]
        packages = dict.fromkeys(offer.package for offer in wanted)
        if len(packages) != 1:
            there = ", ".join(dict.fromkeys(offer.package for offer in offers)) or "none with a known weight"
            what = (
                f"{label.product} is not offered as {package!r}"
                if package and not wanted
                else f"{label.product} is offered in {len(packages)} packages"
            )
            question = f"package:{label.product}"
            choices = tuple(packages) or tuple(dict.fromkeys(offer.package for offer in offers))
            fix = f"Name one with `package`: {there}."
            raise InputError([Problem("purchase", what, fix, question=question, choices=choices)])
        offer = next((o for o in wanted if not seller or o.seller.casefold() == seller.casefold()), wanted[0])
        texts = [f"{name}={value}" for name, value in (("paid", paid), ("dated", dated)) if value is not None]
        entry = StockEntry(
            purchase_id=uuid.uuid4().hex[:12],
            kind=kind,
            product=label.product,
            package=offer.package,
            package_kg=offer.package_kg or 0.0,
            count=count,
            dated=today,
            recorded_at=dt.datetime.now().astimezone().isoformat(timespec="seconds"),
            offer_id=offer.offer_id,
            seller=seller or offer.seller,
            made_by=by or record.info.settings.keeper,
            note=note,
        )
        entry = files.assigned(files.thing_of("purchase"), record, entry, texts)
        editor.put_purchases([entry])
        left = work.stock_of(editor.record())[label.product]
    there = ", ".join(f"{n:.4g} × {name}" for name, (n, _) in left.packages.items())
    return Changed(
        editor.change_id,
        f"{kind.value.capitalize()} {count:g} × {offer.package} of {label.product}; in stock now: {there}.",
        (("purchase_id", "—", entry.purchase_id),),
    )


def decide(
    path: Path,
    plots: Sequence[str],
    supply: str,
    value: str,
    because: str,
    today: dt.date,
    by: str,
    any_crop: bool = False,
) -> Changed:
    """Write down what somebody decided about a nutrient, or lime, of one or several plots.

    Parameters
    ----------
    path
        The property file.
    plots
        Which.
    supply
        A `Nutrient` value or ``"lime"``, in any case.
    value
        An amount (``"0"``, ``"40 lb/acre"``) or a share of the published rate (``"50 %"``, ``"published"``).
    because
        Why.
    today
        The date of the decision.
    by
        Who.
    any_crop
        True = whatever grows there; else for the crop that grows there now.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When a plot, the supply or the value is not understood, or no reason is given; nothing was changed.
    """
    names = {nutrient.value.casefold(): nutrient.value for nutrient in Nutrient} | {"lime": "lime"}
    problems = []
    if supply.strip().casefold() not in names:
        listed = ", ".join(names.values())
        problems.append(Problem("decide", f"{supply!r} is no nutrient", f"Use one of: {listed}."))
    if not because.strip():
        problems.append(Problem("decide", "no reason is given", "Say why with `because`."))
    if problems:
        raise InputError(problems)
    chosen = names[supply.strip().casefold()]
    kind, figure = needs.read_decision(value)
    command = f"decide {' '.join(plots)} {chosen} {value}"
    with changing(path, today, command, by) as editor:
        record = editor.record()
        croppings = work.current_croppings(record, today)
        made = []
        for name in plots:
            plot = files.find(files.thing_of("plot"), record, name)
            cropping = croppings.get(plot.plot_id)
            made.append(
                Decision(
                    decision_id=uuid.uuid4().hex[:12],
                    plot_id=plot.plot_id,
                    season=record.info.season,
                    supply=chosen,
                    reason=because.strip(),
                    decided_on=today,
                    made_by=by or record.info.settings.keeper,
                    crop="" if any_crop or cropping is None else cropping.crop,
                    **{kind: figure},
                )
            )
        editor.put_decisions(made)
    told = ", ".join(decision.plot_id for decision in made)
    return Changed(
        editor.change_id,
        f"Decided {chosen} on {told} for {record.info.season}: {value}.",
        tuple((f"decision {d.decision_id}", "—", f"{d.plot_id} {chosen} {value}") for d in made),
    )


def fill_checklist(path: Path, number: str, plot: str, text: str, today: dt.date, by: str) -> Changed:
    """Write the free text for one number of the list of what a plan and its records hold.

    Parameters
    ----------
    path
        The property file.
    number
        ``"1.3"``.
    plot
        For one plot; empty = for the property.
    text
        The text; ``"clear"`` takes it out.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the number is none of the list, or there is no such plot; nothing was changed.
    """
    titles = files.load_checklist()
    if number not in titles:
        listed = "; ".join(f"{key} {title}" for key, title in titles.items())
        raise InputError([Problem("note", f"{number!r} is no number of the list", f"There are: {listed}.")])
    with changing(path, today, f"note {number} {plot}".strip(), by) as editor:
        record = editor.record()
        plot_id = files.find(files.thing_of("plot"), record, plot).plot_id if plot else ""
        before = record.checklist.get((number, plot_id), "")
        after = "" if text.strip().casefold() == "clear" else text.strip()
        editor.put_checklist(number, plot_id, after)
    title = f"{number} {titles[number]}" + (f", plot {plot_id}" if plot_id else "")
    return Changed(editor.change_id, f"Noted {title}.", ((number, before or "—", after or "—"),))


# ---------------------------------------------------------------------------------------------
# Seasons


@dataclass(frozen=True, slots=True)
class SeasonStarted:
    """A new season, and what it starts with.

    Parameters
    ----------
    season, change_id
        Its name [calendar year]; number of the change.
    goes_on, to_decide
        Plot ids of stands that go on, and of ground whose crop is to be named.
    tests_due
        Plots to sample, with the reason.
    decide_again
        (plot, nutrient or lime, reason given) of last season's decisions.
    """

    season: int
    change_id: int
    goes_on: tuple[str, ...]
    to_decide: tuple[str, ...]
    tests_due: Mapping[str, str]
    decide_again: tuple[tuple[str, str, str], ...]


def start_next_season(path: Path, today: dt.date, by: str) -> SeasonStarted:
    """Start the next season: perennial stands go on, the rest is to decide, everything else is carried over.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests.
    by
        Who.

    Returns
    -------
    SeasonStarted
    """
    with files.edit(path, "season next", by) as editor:
        before = editor.record()
        info = before.info
        plot_ids = [plot.plot_id for plot in before.plots]
        start = work.next_season(before.croppings, info.season, plot_ids)
        editor.put_croppings(start.croppings)
        editor.put_info(replace(info, season=info.season + 1))
        view = season.worked_out(editor.record(), today)
    due = {plot_id: plan.reason for plot_id, plan in view.sampling.items() if plan.due}
    decided = tuple((d.plot_id, d.supply, d.reason) for d in before.decisions if d.season == info.season)
    return SeasonStarted(start.season, editor.change_id, start.goes_on, start.to_decide, due, decided)


# ---------------------------------------------------------------------------------------------
# Copies


def backup(path: Path, folder: Path | None, today: dt.date) -> Path:
    """Make a dated, checked copy of a property file.

    Parameters
    ----------
    path
        The property file.
    folder
        Where; None = beside it.
    today
        Put into the name.

    Returns
    -------
    Path
        The copy.
    """
    return files.backup(path, folder or path.parent, today)


def take_over(path: Path, other: Path, uids: Sequence[str], today: dt.date, by: str) -> Changed:
    """Take chosen changes of another copy over, as changes of this one.

    Parameters
    ----------
    path, other
        This copy, the other one.
    uids
        The changes, by the first letters of their ids; ``"all"`` takes every one.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is no such change, or this copy is not as that one was; nothing was changed.
    """
    found = files.differences(path, other)
    chosen = [
        change
        for change in found.only_there
        if "all" in uids or any(change.uid.startswith(uid.casefold()) for uid in uids)
    ]
    if not chosen:
        listed = ", ".join(change.uid[:8] for change in found.only_there) or "none"
        raise InputError([Problem("differs", "the other copy has no such change", f"It has: {listed}.")])
    last = 0
    for change in chosen:
        with changing(path, today, f"take over: {change.command}", by or change.made_by) as editor:
            editor.take_over(change)
        last = editor.change_id
    return Changed(
        last, f"Took over {len(chosen)} change{'' if len(chosen) == 1 else 's'} from {other.name}."
    )
