"""Which guideline editions there are, and loading one: built in, or the user's own folder.

An edition is a folder: ``guideline.toml`` with what it is and its rules, and CSV tables beside it,
stored as printed. The built-in ones lie in ``data/guidelines``; a user's own has the same format and
is checked the same way. How the files become rules is `editions`' business; what the rules answer is
`publication`'.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files.editions import MAIN_FILE, Edition
from loamwright.files.own_rates import load_own_rates
from loamwright.files.reference import crop_names
from loamwright.files.sections import Report
from loamwright.files.textrows import SUFFIXES
from loamwright.files.whole import lay_down
from loamwright.needs import (
    DEPTH_RULES,
    Choice,
    ForCrop,
    Guideline,
    Status,
    lime_depth_rule,
    lime_edition,
    missing_guideline,
    read_chosen,
)
from loamwright.soil import plain_name

BUILT_IN = Path(__file__).parents[1] / "data" / "guidelines"


@dataclass(frozen=True, slots=True)
class GuidelineInfo:
    """What a list of editions shows.

    Parameters
    ----------
    guideline_id
        What settings name it by.
    name
        Publisher, title and edition.
    status, why
        What it is good for, and the sentence that says why it is no default.
    region
        Where it was written for.
    crops
        Crops it names.
    gives_lime
        True when it has a lime rule for any crop.
    lime_regions
        Regions its lime table asks the user to choose from; empty when it has none.
    about
        What was read and what was not.
    """

    guideline_id: str
    name: str
    status: Status
    region: str
    crops: tuple[str, ...]
    gives_lime: bool
    lime_regions: tuple[str, ...]
    about: str
    why: str = ""


def guideline_editions() -> tuple[GuidelineInfo, ...]:
    """List the built-in guideline editions.

    Returns
    -------
    tuple of GuidelineInfo

    Examples
    --------
    >>> "umn-forage-2011" in [info.guideline_id for info in guideline_editions()]
    True
    """
    return tuple(describe(load_guideline(guideline_id)) for guideline_id in _built_in_ids())


def describe(guideline: Guideline) -> GuidelineInfo:
    """Sum up one edition for a list."""
    rule = guideline.lime_rule(None)
    return GuidelineInfo(
        guideline_id=guideline.guideline_id,
        name=guideline.name,
        status=guideline.status,
        region=guideline.region.name,
        crops=tuple(crop.name for crop in guideline.crops),
        gives_lime=rule is not None,
        lime_regions=() if rule is None else rule.regions,
        about=guideline.about,
        why=guideline.why,
    )


@lru_cache(maxsize=1)
def _built_in_ids() -> tuple[str, ...]:
    return tuple(sorted(folder.parent.name for folder in BUILT_IN.glob(f"*/{MAIN_FILE}")))


def load_guideline(guideline: str) -> Guideline:
    """Load the edition that a setting names.

    Parameters
    ----------
    guideline
        Id of a built-in edition (``"umn-forage-2011"``), or the folder of the user's own.

    Returns
    -------
    Guideline

    Raises
    ------
    InputError
        When there is no such edition (the message lists the built-in ones), or the user's own
        cannot be used.
    """
    if guideline in _built_in_ids():
        return _built_in(guideline)
    own = Path(guideline).expanduser()
    if (own / MAIN_FILE).is_file():
        return load_file(own)
    if own.suffix.casefold() in SUFFIXES and own.is_file():
        return load_own_rates(own)
    raise InputError(
        [
            Problem(
                "settings, guideline",
                f"there is no guideline {guideline!r}",
                f"Built in are: {', '.join(_built_in_ids())}; or give the folder of your own",
            )
        ]
    )


def load_choice(setting: str, load: Callable[[str], Guideline] | None = None) -> Choice:
    """Load every edition that the guideline setting names.

    Parameters
    ----------
    setting
        As `read_chosen` reads it: editions in their order, and those for one crop.
    load
        Loads one edition; None = `load_guideline`.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        When an edition is missing, or does not name the crop that shall govern.
    """
    problems: list[Problem] = []
    editions: list[Guideline] = []
    for_crops: dict[str, tuple[ForCrop, ...]] = {}
    for entry in read_chosen(setting):
        try:
            edition = (load or load_guideline)(entry.edition)
        except InputError as error:
            problems.extend(error.problems)
            continue
        if not entry.crop:
            editions.append(edition)
            continue
        if entry.name and edition.crop(entry.name) is None:
            listed = ", ".join(crop.name for crop in edition.crops)
            what = f"{edition.short} does not name {entry.name!r}"
            problems.append(Problem(f"settings, guideline for {entry.crop}", what, f"It names: {listed}"))
        key = plain_name(entry.crop)
        for_crops[key] = (*for_crops.get(key, ()), ForCrop(edition, entry.name))
    if not editions and not problems:
        what = "no guideline is named for crops in general"
        problems.append(Problem("settings, guideline", what, f"Name one of: {', '.join(_built_in_ids())}"))
    if problems:
        raise InputError(problems)
    return Choice(tuple(editions), for_crops, crop_names())


def load_lime_guideline(setting: str) -> Guideline:
    """Load the edition that the lime setting names, and make sure of its depth rule.

    Parameters
    ----------
    setting
        As `lime_edition` and `lime_depth_rule` read it.

    Returns
    -------
    Guideline

    Raises
    ------
    InputError
        When there is no such edition or depth rule.
    """
    rule = lime_depth_rule(setting)
    known = tuple(one.rule_id for one in DEPTH_RULES)
    if rule and rule not in known:
        what = f"{rule!r} is no depth rule"
        raise InputError([Problem("settings, lime_guideline", what, f"Use one of: {', '.join(known)}")])
    return load_guideline(lime_edition(setting))


def files_of(guideline: str) -> Mapping[str, bytes]:
    """Return the files of an edition, to be kept with the property that uses it.

    Parameters
    ----------
    guideline
        As for `load`.

    Returns
    -------
    mapping of str to bytes
        File name to content; empty when there is no such edition.
    """
    folder = BUILT_IN / guideline if guideline in _built_in_ids() else Path(guideline).expanduser()
    if folder.suffix.casefold() in SUFFIXES and folder.is_file():
        return {folder.name: folder.read_bytes()}
    if not (folder / MAIN_FILE).is_file():
        return {}
    wanted = (MAIN_FILE, *(path.name for path in sorted(folder.glob("*.csv"))))
    return {name: (folder / name).read_bytes() for name in wanted}


def load_kept_guideline(files: Mapping[str, bytes]) -> Guideline:
    """Load an edition from the files a property has kept of it.

    Parameters
    ----------
    files
        From `files_of`.

    Returns
    -------
    Guideline

    Raises
    ------
    InputError
        When anything in it cannot be used.
    """
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        for name, content in files.items():
            lay_down(Path(folder), name, content)
        if MAIN_FILE not in files:  # a sheet of standard rates
            return load_own_rates(Path(folder) / Path(next(iter(files), MAIN_FILE)).name)
        return load_file(Path(folder))


def load_for(name: str, kept: Mapping[str, bytes]) -> tuple[Guideline, tuple[Problem, ...]]:
    """Load an edition for a property: built in or from its folder, else as the property has kept it.

    Parameters
    ----------
    name
        As the settings name it.
    kept
        The files the property has kept of it; empty when none.

    Returns
    -------
    guideline : Guideline
        One that says nothing when it is nowhere.
    problems : tuple of Problem
        That it is not where the settings say.
    """
    fix = "Set it to one that is there: set settings guideline=…; see `guideline list`."
    try:
        return load_guideline(name), ()
    except InputError as error:
        gone = error
    if kept:
        try:
            found = load_kept_guideline(kept)
        except InputError as broken:
            gone = broken
        else:
            what = f"the guideline {name!r} is not there any more; the copy kept in the property is used"
            return found, (Problem("settings, guideline", what, fix, Level.WARNING),)
    what = f"{gone.problems[0].what}: what would go by it is unknown"
    return missing_guideline(name), (Problem("settings, guideline", what, fix, Level.WARNING),)


def load_choice_for(
    setting: str, kept: Mapping[str, Mapping[str, bytes]]
) -> tuple[Choice, tuple[Problem, ...]]:
    """Load every edition that the guideline setting names, from the property where it is gone.

    Parameters
    ----------
    setting
        As for `load_choice`.
    kept
        Edition to the files the property has kept of it.

    Returns
    -------
    choice : Choice
        One that says nothing where an edition is nowhere.
    problems : tuple of Problem
        What is not where the settings say.
    """
    problems: list[Problem] = []

    def load(name: str) -> Guideline:
        found, more = load_for(name, kept.get(name, {}))
        problems.extend(more)
        return found

    try:
        choice = load_choice(setting, load)
    except InputError as error:
        problems.extend(replace(problem, level=Level.WARNING) for problem in error.problems)
        choice = Choice((missing_guideline(setting),), {}, crop_names())
    return choice, tuple(problems)


def load_lime_for(
    setting: str, kept: Mapping[str, Mapping[str, bytes]]
) -> tuple[Guideline, tuple[Problem, ...]]:
    """Load the edition that the lime setting names, from the property where it is gone.

    Parameters
    ----------
    setting, kept
        As for `load_choice_for`.

    Returns
    -------
    guideline : Guideline
    problems : tuple of Problem
    """
    edition = lime_edition(setting)
    found, problems = load_for(edition, kept.get(edition, {}))
    try:
        load_lime_guideline(setting)
    except InputError as error:
        if not problems:
            problems = tuple(replace(problem, level=Level.WARNING) for problem in error.problems)
    return found, problems


def editions_named(guideline: str, lime_guideline: str) -> tuple[str, ...]:
    """Return the editions that two settings name, each once.

    Parameters
    ----------
    guideline, lime_guideline
        The settings.

    Returns
    -------
    tuple of str
    """
    named = (*(entry.edition for entry in read_chosen(guideline)), lime_edition(lime_guideline))
    return tuple(dict.fromkeys(named))


@lru_cache(maxsize=32)
def _built_in(guideline_id: str) -> Guideline:
    return load_file(BUILT_IN / guideline_id)


def load_file(path: Path) -> Guideline:
    """Load an edition from a folder, or from its ``guideline.toml``."""
    guideline, problems = _read(path)
    if guideline is None or has_errors(problems):
        raise InputError([problem for problem in problems if problem.level is Level.ERROR])
    return guideline


def check_guideline(path: Path) -> tuple[Problem, ...]:
    """Check an edition of the user's own, row by row, without using it.

    Parameters
    ----------
    path
        Its folder or file.

    Returns
    -------
    tuple of Problem
        Empty when it can be used as it is.
    """
    return _read(path)[1]


def _read(path: Path) -> tuple[Guideline | None, tuple[Problem, ...]]:
    main = path / MAIN_FILE if path.is_dir() else path
    report = Report()
    try:
        data = tomllib.loads(main.read_text(encoding="utf-8-sig"))
    except OSError:
        report.error(str(path), f"there is no {MAIN_FILE} to read", f"Give the folder that holds {MAIN_FILE}")
        return None, tuple(report.problems)
    except (ValueError, RecursionError) as error:  # also of bytes, and of integers of 5,000 digits
        report.error(str(main), f"it is not valid TOML ({error})", "Correct it at the place named")
        return None, tuple(report.problems)
    return Edition(main.parent.resolve(), data, report).guideline(), tuple(report.problems)
