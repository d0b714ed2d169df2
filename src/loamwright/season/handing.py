"""Hand a season out: map, work orders, reports and sampling sheets; an old plan only when that is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright import fieldmap, handoff
from loamwright.errors import InputError, Problem
from loamwright.work import SeasonView, find_round


def refuse_old(view: SeasonView, what: str, old_ok: bool) -> None:
    """Refuse to hand out a plan that what it stood on has left behind.

    Parameters
    ----------
    view
        The season.
    what
        What was about to be handed out.
    old_ok
        True = asked for all the same.

    Raises
    ------
    InputError
        When the plan is old; it lists what changed.
    """
    if view.aged and not old_ok:
        assert view.plan is not None
        changed = "; ".join(str(aged) for aged in view.aged[:8])
        more = f"; and {len(view.aged) - 8} more" if len(view.aged) > 8 else ""
        text = f"the plan was made {view.plan.made_at[:10]}, before this changed: {changed}{more}"
        fix = "Plan again: loamwright plan; or hand out the old one, which says so, with `old`."
        raise InputError([Problem(what, text, fix)])


def make_map(
    view: SeasonView,
    path: Path,
    round_id: str | None = None,
    basemap: str | None = None,
    image: Path | None = None,
    reader: str | None = None,
) -> fieldmap.MapMade:
    """Write the field map.

    Parameters
    ----------
    view
        The season.
    path
        Where.
    round_id
        Number, id or title of the round it is for; None = the whole property.
    basemap
        ``"aerial"`` or ``"topo"`` for an online background; None = none.
    image
        The user's own GeoTIFF to embed, or None.
    reader
        ``"helper"``, for whoever spreads, or ``"planner"``; None = the planner's, which holds everything.

    Returns
    -------
    page.MapMade

    Raises
    ------
    InputError
        When the round, the basemap or the reader is not known.
    """
    if basemap is not None and basemap not in {item.value for item in fieldmap.Basemap}:
        raise InputError([Problem("basemap", f"{basemap!r} is not known", "Use aerial or topo.")])
    known = tuple(fieldmap.EDITIONS)
    if reader is not None and reader not in known:
        what, fix = f"there is no edition for {reader!r}", f"Use {' or '.join(known)}."
        raise InputError([Problem("map", what, fix)])
    options = fieldmap.MapOptions(
        round_id="" if round_id is None else find_round(view.rounds, round_id).round_id,
        basemap=None if basemap is None else fieldmap.Basemap(basemap),
        picture=image,
        reader=reader or known[0],
    )
    return fieldmap.write_map(view, path, options)


@dataclass(frozen=True, slots=True)
class Written:
    """Files that were written, and what they could not show."""

    paths: tuple[Path, ...]
    problems: tuple[Problem, ...] = ()


def _gathered(made: Sequence[handoff.PaperMade]) -> Written:
    return Written(
        tuple(item.path for item in made if item.pages),
        tuple(problem for item in made for problem in item.problems),
    )


def write_orders(view: SeasonView, folder: Path, options: handoff.PaperOptions) -> Written:
    """Write the work orders, an edition for each reader, and the buying list as a spreadsheet.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size, rounds, appendix, reader.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When there is no plan to print, a round is not known, or the folder cannot be written to.
    """
    if view.plan is None:
        raise InputError([Problem("orders", "this season has no plan yet", "Run `loamwright plan` first.")])
    reader, made = options.reader, []
    if reader == "helper" or (reader is None and handoff.has_rounds(view, options, driver=False)):
        made.append(handoff.write_booklet(view, folder / "work_orders.pdf", options))
    if reader == "driver" or (reader is None and handoff.has_rounds(view, options, driver=True)):
        made.append(handoff.write_booklet(view, folder / "truck_sheet.pdf", options, driver=True))
    if reader in (None, "planner"):
        made.append(handoff.write_orders(view, folder / "planner_orders.pdf", options))
        if options.appendix:
            made.append(handoff.write_arithmetic(view, folder / "arithmetic.pdf", options))
        made.append(handoff.write_buying_list(view, folder / "buying_list.xlsx"))
    return _gathered(made)


def write_reports(view: SeasonView, folder: Path, options: handoff.PaperOptions) -> Written:
    """Write the season picture and the season record (PDF and spreadsheet).

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    return _gathered(
        (
            handoff.write_season_picture(view, folder / "season_picture.pdf", options),
            handoff.write_season_record(view, folder / "season_record.pdf", options),
            handoff.write_season_record(view, folder / "season_record.xlsx", options),
        )
    )


def write_sampling(view: SeasonView, folder: Path) -> Written:
    """Write core places for a GPS receiver and sampling sheets with bag labels.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    sheets = _gathered((handoff.write_sampling_sheets(view, folder / "sampling_sheets.pdf"),))
    places = handoff.export(view, folder, "gpx")
    return Written((*sheets.paths, *places.paths), (*sheets.problems, *places.problems))
