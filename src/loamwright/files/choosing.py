"""Choosing guidelines for a property: editions in their order, one for a crop, own rates, one of one's own.

Each function here changes one thing and makes sure first that what is chosen can be used. The setting that
holds the choice is text (`needs.read_chosen`), so that it travels with the property file.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path

from loamwright.errors import InputError, Level, Problem
from loamwright.files import guidelines, property_file
from loamwright.files.fields import Fields
from loamwright.files.own_rates import (
    OwnRate,
    add_own_rate,
    own_rates_from,
    read_own_rate,
    with_sheet,
    write_sheet,
)
from loamwright.files.reference import crop_names
from loamwright.files.textrows import SUFFIXES, read_table
from loamwright.files.whole import write_set
from loamwright.needs import (
    DEPTH,
    Choice,
    Chosen,
    Status,
    lime_depth_rule,
    lime_edition,
    prints_rule,
    read_chosen,
    write_chosen,
)
from loamwright.soil import plain_name
from loamwright.values import Nutrient, PropertyInfo

#: Name of the sheet of standard rates that is made beside a property.
SHEET_NAME = "standard_rates.csv"


@dataclass(frozen=True, slots=True)
class ChosenNow:
    """What a property asks after a change.

    Parameters
    ----------
    guideline, lime_guideline
        The settings as they stand now.
    problems
        What should be known about them.
    """

    guideline: str
    lime_guideline: str
    problems: tuple[Problem, ...]


def _named(edition: str) -> str:
    """Name an edition so that it is found from anywhere: a built-in id, or the full path of one's own."""
    own = Path(edition).expanduser()
    return str(own.resolve()) if own.exists() else edition


def chosen(path: Path) -> ChosenNow:
    """Tell what a property asks.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    ChosenNow
    """
    settings = property_file.load(path).info.settings
    problems = tuple(_said(guidelines.load_choice(settings.guideline)))
    return ChosenNow(settings.guideline, settings.lime_guideline, problems)


def choose(path: Path, editions: Sequence[str], crop: str, name: str, add: bool) -> ChosenNow:
    """Set the editions a property asks, or those it asks for one crop.

    Parameters
    ----------
    path
        The property file.
    editions
        Ids or folders, in the order they are asked.
    crop
        Crop they are for, as the plots call it; empty = any.
    name
        Crop of the edition that shall govern; empty = the one of the same name.
    add
        True to ask them after those already chosen; False to put them in their place.

    Returns
    -------
    ChosenNow

    Raises
    ------
    InputError
        When an edition cannot be used, or does not name the crop that shall govern.
    """
    info = property_file.load(path).info
    new = tuple(Chosen(_named(edition), crop.strip(), name.strip()) for edition in editions)
    held = read_chosen(info.settings.guideline)
    same = [one for one in held if plain_name(one.crop) == plain_name(crop)]
    others = [one for one in held if one not in same]
    kept = [one for one in same if add and one not in new]
    sheets = [one for one in same if not add and not crop and Path(one.edition).suffix in SUFFIXES]
    entries = (*kept, *new, *sheets, *others)
    if crop.strip() and not name.strip():
        _refuse_without(crop, new, entries)
    return _store(path, info, entries, info.settings.lime_guideline)


def _refuse_without(crop: str, new: Sequence[Chosen], entries: Sequence[Chosen]) -> None:
    """Refuse an edition chosen for a crop that it does not name: it would be passed over without a word."""
    asked = guidelines.load_choice(write_chosen(tuple(dict.fromkeys(entries)))).asked(crop)
    named = {one.guideline.guideline_id for one in asked if one.crop is not None}
    for one in new:
        edition = guidelines.load_guideline(one.edition)
        if edition.guideline_id not in named:
            what = f"{edition.short} does not name {crop.strip()!r}"
            fix = f"See `loamwright guideline crops {crop.strip()}`, or say with `as` which crop stands in."
            raise InputError([Problem("crop", what, fix)])


def choose_lime(path: Path, edition: str, depth: str) -> ChosenNow:
    """Set the edition a property asks for lime, and the rule for samples of another depth.

    Parameters
    ----------
    path
        The property file.
    edition
        Id or folder; empty = the one that is set.
    depth
        Id of one of the depth rules; empty = the one that is set.

    Returns
    -------
    ChosenNow

    Raises
    ------
    InputError
        When the edition has no lime rule, or the depth rule is not known.
    """
    info = property_file.load(path).info
    setting = info.settings.lime_guideline
    meant = _named(edition) if edition else lime_edition(setting)
    rule = depth or lime_depth_rule(setting)
    if not guidelines.load_guideline(meant).lime:
        what = f"{meant!r} has no lime rule"
        raise InputError([Problem("lime", what, "Choose one with lime: see `loamwright guideline list`.")])
    entries = (Chosen(meant), *((Chosen(rule, DEPTH),) if rule else ()))
    return _store(path, info, read_chosen(info.settings.guideline), write_chosen(entries))


def _store(path: Path, info: PropertyInfo, entries: Sequence[Chosen], lime: str) -> ChosenNow:
    setting = write_chosen(tuple(dict.fromkeys(entries)))
    choice = guidelines.load_choice(setting)
    guidelines.load_lime_guideline(lime)
    settings = replace(info.settings, guideline=setting, lime_guideline=lime)
    with property_file.edit(path, "guideline") as editor:
        editor.put_info(replace(info, settings=settings))
    return ChosenNow(setting, lime, tuple(_said(choice)))


def _said(choice: Choice) -> list[Problem]:
    editions = [*choice.editions, *(one.guideline for many in choice.for_crops.values() for one in many)]
    return [
        Problem(edition.guideline_id, f"{edition.status}: {edition.why}", "", Level.NOTE)
        for edition in editions
        if edition.why
    ]


# ---------------------------------------------------------------------------------------------
# Standard rates of the user


def set_own_rate(
    path: Path,
    crop: str,
    nutrient: str,
    rate: str,
    who: str,
    why: str,
    on: dt.date,
    sheet: Path | None = None,
) -> ChosenNow:
    """Write one standard rate to the user's sheet and let the property use it.

    Parameters
    ----------
    path
        The property file.
    crop, nutrient, rate
        What it is for, and how much: ``"60 lb/acre"``.
    who, why, on
        Who sets it, why, and on which date.
    sheet
        The sheet; None = ``standard_rates.csv`` beside the property.

    Returns
    -------
    ChosenNow

    Raises
    ------
    InputError
        When anything is missing or cannot be read; nothing was changed.
    """
    problems: list[Problem] = []
    typed = {"crop": crop, "nutrient": nutrient, "rate": rate, "who": who, "why": why, "date": on.isoformat()}
    read = read_own_rate(Fields("", typed, problems, names={"who": "by", "date": "on"}))
    if read is None:
        raise InputError(problems)
    file = _sheet_of(path, sheet)
    add_own_rate(file, read)
    return use_sheet(path, file)


def use_sheet(path: Path, sheet: Path) -> ChosenNow:
    """Let a property use a sheet of standard rates."""
    info = with_sheet(property_file.load(path).info, sheet)
    return _store(path, info, read_chosen(info.settings.guideline), info.settings.lime_guideline)


def sheet_to_fill(path: Path, unknown: Sequence[tuple[str, str]], sheet: Path | None = None) -> Path:
    """Write a sheet with a row for each crop and nutrient that nothing answers; rates already set stay.

    Parameters
    ----------
    path
        The property file.
    unknown
        (crop, nutrient) without a figure.
    sheet
        Where; None = ``standard_rates.csv`` beside the property.

    Returns
    -------
    Path
        The sheet.
    """
    file = _sheet_of(path, sheet)
    held: tuple[OwnRate, ...] = own_rates_from(read_table(file))[0] if file.exists() else ()
    set_already = {(plain_name(one.crop), one.nutrient.value) for one in held}
    blank = [pair for pair in dict.fromkeys(unknown) if (plain_name(pair[0]), pair[1]) not in set_already]
    write_sheet(file, held, blank)
    return file


def _sheet_of(path: Path, sheet: Path | None) -> Path:
    """Find the sheet meant: the one given, else the one the property uses, else one beside it."""
    if sheet is not None:
        return sheet
    used = [Path(one.edition) for one in read_chosen(property_file.load(path).info.settings.guideline)]
    return next((one for one in used if one.suffix.casefold() in SUFFIXES), path.parent / SHEET_NAME)


# ---------------------------------------------------------------------------------------------
# A guideline of one's own, and what each edition calls a crop


def new_guideline(folder: Path) -> tuple[Path, ...]:
    """Make a folder with a guideline to fill in.

    Parameters
    ----------
    folder
        Where; must not exist.

    Returns
    -------
    tuple of Path
        The files made.

    Raises
    ------
    InputError
        When the folder exists or cannot be made.
    """
    if folder.exists():
        raise InputError([Problem(str(folder), "it exists already", "Give the name of a new folder.")])
    template = resources.files("loamwright").joinpath("data", "guideline_template")
    made = {folder / part.name: part.read_text(encoding="utf-8") for part in template.iterdir()}
    write_set(dict(sorted(made.items(), key=lambda one: one[0].name)))
    return tuple(sorted(made))


@dataclass(frozen=True, slots=True)
class CropListed:
    """What one edition has for a crop.

    Parameters
    ----------
    edition, status, region
        Id, what it is good for, where it was written for.
    crop
        The edition's own name of it.
    also
        Other names it takes.
    nutrients
        Nutrients it has a rule for.
    target_ph
        Soil pH it wants; None = not printed.
    """

    edition: str
    status: Status
    region: str
    crop: str
    also: tuple[str, ...]
    nutrients: tuple[str, ...]
    target_ph: float | None


@dataclass(frozen=True, slots=True)
class CropsFound:
    """Crops by guideline and region.

    Parameters
    ----------
    listed
        One entry for each edition and crop.
    parts
        Parts of the mixture that was asked for.
    near
        Names that were perhaps meant.
    """

    listed: tuple[CropListed, ...]
    parts: tuple[str, ...] = ()
    near: tuple[str, ...] = ()


def list_crops(text: str = "", region: str = "") -> CropsFound:
    """List the crops of the built-in editions, or what they have for one name.

    Parameters
    ----------
    text
        A crop or mixture as people call it; empty = every crop.
    region
        Only editions whose region holds this text.

    Returns
    -------
    CropsFound
    """
    names = crop_names()
    editions = [guidelines.load_guideline(info.guideline_id) for info in guidelines.guideline_editions()]
    editions = [one for one in editions if region.strip().casefold() in one.region.name.casefold()]
    parts = names.parts(text) if text.strip() else ()
    listed = []
    for guideline in editions:
        asked = [names.same(part) for part in (parts or (text,))]
        found = [crop for spelled in asked if (crop := guideline.crop(*spelled))]
        if not text.strip():
            found = list(guideline.crops)
        for crop in dict.fromkeys(found):
            nutrients = tuple(n.value for n in Nutrient if prints_rule(guideline, n, crop.name))
            listed.append(
                CropListed(
                    guideline.guideline_id,
                    guideline.status,
                    guideline.region.name,
                    crop.name,
                    crop.aliases,
                    nutrients,
                    crop.target_ph,
                )
            )
    every = [crop.name for guideline in editions for crop in guideline.crops]
    near = names.near(text, every) if text.strip() and not listed else ()
    return CropsFound(tuple(listed), parts, near)
