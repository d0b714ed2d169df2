"""What a person reads of a property that is kept: things, the journal, stock, decisions, seasons."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape

from loamwright.commands.results import (
    ChecklistShown,
    ChoicesListed,
    CopiesCompared,
    FileChecked,
    JournalListed,
    StockListed,
    ThingShown,
)
from loamwright.commands.text import table_of
from loamwright.money import format_money
from loamwright.units import (
    format_rate,
)
from loamwright.upkeep import Changed, SeasonStarted
from loamwright.words import earlier_words, mass_words, not_in_book_words
from loamwright.work import ChoiceRow, MixRow


def show_fields(out: Console, fields: Sequence[tuple[str, str, str]]) -> None:
    """Print fields with their values before and after."""
    if fields:
        table = table_of("", "field", "before", "now")
        for name, before, after in fields:
            table.add_row(escape(name), escape(before), escape(after))
        out.print(table)


def show_thing(out: Console, shown: ThingShown, _system: str) -> None:
    """Print one thing field by field, or the list of them."""
    if not shown.id:
        table = table_of(f"{shown.thing}: {len(shown.listed)}", "id", "")
        for ident, about in shown.listed:
            table.add_row(escape(ident), escape(about))
        out.print(table)
        return
    table = table_of(escape(f"{shown.thing} {shown.id}"), "field", "value", "from", "")
    for field in shown.fields:
        if field.value or shown.every:
            table.add_row(
                *(escape(text) for text in (field.name, field.value or "—", field.came_from, field.help))
            )
    out.print(table)
    rest = [field.name for field in shown.fields if not field.value]
    if rest and not shown.every:
        out.print(f"Not stated: {', '.join(rest)}", markup=False)


def show_changes(out: Console, found: JournalListed, _system: str) -> None:
    """Print the journal."""
    table = table_of("Changes", "no.", "when", "who", "by", "what")
    for row in found.changes:
        did = [f"{what}: {before} → {after}" for what, before, after in row.did]
        shown = did if found.in_full else did[:3]
        more = [f"… and {len(did) - len(shown)} more"] if len(did) > len(shown) else []
        cells = (str(row.change), _when(row.made_at), row.made_by, row.command, "\n".join((*shown, *more)))
        table.add_row(*map(escape, cells))
    out.print(table if found.changes else "Nothing has been changed yet.")


def _when(made_at: str) -> str:
    return made_at[:16].replace("T", " ")


def show_changed(out: Console, found: Changed, _system: str) -> None:
    """Print what a change did."""
    out.print(found.sentence, markup=False)
    show_fields(out, found.fields)
    if found.change_id:
        out.print(f"Change {found.change_id}; take it back with: undo {found.change_id}", markup=False)


def show_checked(out: Console, found: FileChecked, _system: str) -> None:
    """Print whether a property file is sound."""
    told = "nothing is wrong with it." if found.sound else f"{len(found.problems)} found."
    out.print(f"{found.file}: {told}", markup=False)


def show_checklist(out: Console, found: ChecklistShown, _system: str) -> None:
    """Print the entries a plan is asked for, with what was noted."""
    table = table_of("What a plan and its records are asked for", "no.", "what", "plot", "noted", "by, on")
    for row in found.entries:
        noted = ", ".join(filter(None, (row.made_by, row.made_at[:10])))
        table.add_row(*map(escape, (row.number, row.title, row.plot_id, row.text or "—", noted)))
    out.print(table)
    out.print("Fill one with: note FILE NUMBER TEXT; the season record prints what is filled.", markup=False)


def show_stock(out: Console, found: StockListed, system: str) -> None:
    """Print what is in the shed."""
    table = table_of("In stock", "product", "counted", "bought since", "put on", "left", "packages")
    for item in found.stock:
        amounts = (item.counted_kg, item.bought_kg, item.used_kg, item.left_kg)
        packages = ", ".join(f"{count:.4g} × {name}" for name, (count, _) in item.packages.items())
        table.add_row(escape(item.product), *(mass_words(kg, system) for kg in amounts), escape(packages))
    out.print(table if table.row_count else "Nothing is written down: see purchase.")
    for item in found.stock:
        if item.earlier_kg:
            out.print(f"{escape(item.product)}: {earlier_words(item.earlier_kg, system)}")
    for one in found.not_in_book:
        out.print(f"{escape(one.product)}: {not_in_book_words(one.put_on_kg, system)}")


def _published(row: ChoiceRow, system: str) -> str:
    """Write the published figure of a choice, or its range."""
    if row.published_kg_ha is not None:
        return format_rate(row.published_kg_ha, system)
    if row.between_kg_ha is None:
        return "—"
    low, high = (format_rate(bound, system) for bound in row.between_kg_ha)
    return f"{low.partition(' ')[0]} to {high}"


def _decision(row: ChoiceRow, system: str) -> str:
    """Write one choice, open or made, as sentences: pounds, money, why."""
    parts = []
    if row.decided_kg_ha is not None:
        parts.append(f"decided {format_rate(row.decided_kg_ha, system)}")
    if (published := _published(row, system)) != "—":
        parts.append(f"published {published}")
    if row.mass_kg:
        parts.append(f"{mass_words(row.mass_kg, system)} on the plot")
    if row.cost is not None:
        parts.append(f"about {format_money(row.cost)}")
    return f"  {row.plot_id}, {row.supply}: {', '.join(parts) or 'no figure'}. {row.why}"


def _pair(row: MixRow) -> str:
    """Write what is decided, or to decide, of two products in one hopper."""
    said = "to decide" if row.open else "yes" if row.may else "no"
    trips = f"{len(row.plots)} trip{'' if len(row.plots) == 1 else 's'}, {format_money(row.saving)}"
    saved = f"; could save {trips}: {', '.join(row.plots)}" if row.open else ""
    why = f"; {row.why}" if row.why else ""
    return f"  {row.one} + {row.other}: {said}{saved}{why}"


def show_decisions(out: Console, found: ChoicesListed, system: str) -> None:
    """Print open and made decisions with amounts and money, and which products may share a hopper."""
    parts = (
        ("To decide", [_decision(row, system) for row in found.decisions if row.open]),
        ("Decided", [_decision(row, system) for row in found.decisions if not row.open]),
        ("May they share a hopper?", list(map(_pair, found.mixing))),
    )
    for title, lines in parts:
        if lines:
            out.print(f"[bold]{title}[/]")
            for line in lines:
                out.print(line, markup=False)
    if not any(lines for _, lines in parts):
        out.print("There is nothing to decide.")
    elif found.mixing:
        out.print(
            "  Decide with: decide FILE mix 'ONE + OTHER' yes --because …; the label has the last word."
        )


def show_differences(out: Console, found: CopiesCompared, _system: str) -> None:
    """Print what each of two copies has alone."""
    sides = (("Only in this copy", found.only_here), (f"Only in {found.other.name}", found.only_there))
    for title, side in sides:
        table = table_of(escape(title), "id", "when", "who", "what")
        for row in side:
            table.add_row(*map(escape, (row.id, _when(row.made_at), row.made_by, row.command)))
        out.print(table if side else f"{title}: nothing.", markup=False)


def show_season_started(out: Console, found: SeasonStarted, _system: str) -> None:
    """Print what a new season starts with."""
    out.print(f"Season {found.season} has begun (change {found.change_id}).", markup=False)
    for title, plots in (("Go on", found.goes_on), ("Crop to decide", found.to_decide)):
        if plots:
            out.print(f"{title}: {', '.join(plots)}", markup=False)
    for plot_id, reason in found.tests_due.items():
        out.print(f"Sample {plot_id}: {reason}", markup=False)
    for plot_id, supply, reason in found.decide_again:
        out.print(f"Decide again: {supply} on {plot_id} ({reason})", markup=False)


#: Which text prints which result.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {
    Changed: show_changed,
    ThingShown: show_thing,
    ChecklistShown: show_checklist,
    JournalListed: show_changes,
    FileChecked: show_checked,
    StockListed: show_stock,
    ChoicesListed: show_decisions,
    CopiesCompared: show_differences,
    SeasonStarted: show_season_started,
}
