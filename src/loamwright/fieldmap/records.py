"""The records of the field map: every text and figure of the page, ready to show.

This file answers "what does the page's script find in its data?": one `MapData` of texts ready to
show, in the property's unit system. It holds no arithmetic; `contents` fills it from a season, and
`fieldmap` puts it into the page. The page displays. The only figures it works with itself are those a
person makes in the field: the amount typed into a check-off form, and the distance from the phone to
a plot.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

Ring = tuple[tuple[float, float], ...]  # (latitude, longitude) pairs, the order the page draws in
Polygons = tuple[tuple[Ring, ...], ...]
Corners = tuple[tuple[float, float], tuple[float, float]]  # (south, west), (north, east)


@dataclass(frozen=True, slots=True)
class MapClass:
    """One row of a legend.

    Parameters
    ----------
    label, plots
        Text, and how many plots it holds [count].
    colour, pattern
        How it is filled.
    bands
        Colours side by side, where several products go on; empty = one colour.
    """

    label: str
    plots: int
    colour: str
    pattern: str
    bands: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MapChoice:
    """One way to colour the plots: a nutrient, a product, the cost …

    Parameters
    ----------
    id, label
        Stable key, and the text in the list of choices.
    classes
        Legend rows.
    of
        For each plot its place in `classes`.
    values
        For each plot the short text on its label; empty = none.
    note
        A sentence under the legend: totals, or what is left out.
    """

    id: str
    label: str
    classes: tuple[MapClass, ...]
    of: tuple[int, ...]
    values: tuple[str, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class MapLayer:
    """One question the map answers.

    Parameters
    ----------
    id, label, question
        Stable key, button text, and the whole question.
    choices
        Ways to answer it; at least one.
    """

    id: str
    label: str
    question: str
    choices: tuple[MapChoice, ...]


@dataclass(frozen=True, slots=True)
class MapNeed:
    """One nutrient, or lime, in a plot's sheet.

    Parameters
    ----------
    what, state, reason
        Name, the three-valued answer, and why.
    rate, mass
        Texts; empty when unknown.
    credits
        Lines already taken off.
    supplied
        What the plan delivers, as text; empty without a plan.
    applied, left
        Delivered so far this season, and what is still owed, as text.
    steps
        Places in `MapData.steps`.
    """

    what: str
    state: str
    reason: str
    rate: str = ""
    mass: str = ""
    credits: tuple[str, ...] = ()
    supplied: str = ""
    applied: str = ""
    left: str = ""
    steps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class MapLine:
    """One planned pass in a plot's sheet.

    Parameters
    ----------
    id, product, timing, job
        Plan line id, product name, timing text (empty = any), id of the load it shares a hopper with.
    rate, mass, packages
        Texts.
    kg, package_kg
        Planned mass, and net mass of one package (absent when bulk) [kg].
    package
        The package as written.
    reasons
        Reasons on file where planned and applied differ.
    steps
        Places in `MapData.steps`.
    rest_m2
        Where it goes on the rest of the plot only, that ground [m2].
    part, opens, closes
        Part of the plot its job is for, empty = all of it; first and last day of its window (ISO 8601),
        empty = not by a date.
    cautions
        Of this product here, places in `MapData.cautions`.
    """

    id: str
    product: str
    timing: str
    rate: str
    mass: str
    packages: str
    kg: float
    package: str = ""
    package_kg: float | None = None
    job: str = ""
    reasons: tuple[str, ...] = ()
    steps: tuple[int, ...] = ()
    rest_m2: float | None = None
    part: str = ""
    opens: str = ""
    closes: str = ""
    cautions: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class MapEntry:
    """One entry on file that reports on a line of the map, in the words of `records.Application`.

    Parameters
    ----------
    entry_id, product, mass_kg, timing, line_id
        As recorded; timing and line are empty when the entry named none.
    area_m2
        Ground it went on [m2]; None = not said.
    applied_on, plan_id, job_id
        As recorded.
    had_share
        True: on a part of the plot that had its share when the plan was made.
    """

    entry_id: str
    product: str
    mass_kg: float
    timing: str
    line_id: str
    area_m2: float | None = None
    applied_on: str = ""
    plan_id: str = ""
    job_id: str = ""
    had_share: bool | None = None


@dataclass(frozen=True, slots=True)
class MapJob:
    """One job of an earlier plan of the season, which an entry still on a phone may report on.

    Parameters
    ----------
    plan_id, job_id
        Which.
    timing, part
        When in the season, and the part of the plot; empty = any time, all of it.
    opens, closes
        First and last day of its window (ISO 8601); empty = not by a date.
    """

    plan_id: str
    job_id: str
    timing: str = ""
    part: str = ""
    opens: str = ""
    closes: str = ""


@dataclass(frozen=True, slots=True)
class MapSampling:
    """Sampling in a plot's sheet: whether due, how many cores, where.

    Parameters
    ----------
    due, reason
        Whether a sample is due, and why or why not.
    cores, depth, label
        Texts: cores with the published range, depth, bag label.
    points
        (latitude, longitude) of cores in walking order.
    steps
        Places in `MapData.steps`.
    """

    due: bool
    reason: str
    cores: str
    depth: str
    label: str
    points: Ring = ()
    steps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class MapPlot:
    """One plot: its shape and its sheet.

    Parameters
    ----------
    id, name, crop
        As the user wrote them; the crop with previous crop and yield goal.
    area, area_notes
        Spread area, and what else is to be said of the size, as text.
    spread_m2
        Spread area [m2], the first guess for the area covered in a check-off.
    outline, spread
        Boundary, and the part to spread on where it differs.
    middle
        (latitude, longitude) for the label.
    entrance
        (latitude, longitude) of the way in; absent when not stated.
    access, notes
        As written.
    needs, lines, cost
        What it needs, what goes on, its share of the cost.
    cautions
        Of the ground itself, places in `MapData.cautions`.
    planners
        Those only the planner acts on: to be settled, or of a product that is not in hand here.
    tests, history
        Soil tests and this season's entries, one sentence each.
    on_file
        Those of the entries that report on `lines`, in the order of the record.
    sampling
        The sampling plan.
    steps
        How the area was reached: places in `MapData.steps`.
    """

    id: str
    name: str
    crop: str
    area: str
    area_notes: tuple[str, ...]
    spread_m2: float
    outline: Polygons
    spread: Polygons
    middle: tuple[float, float]
    entrance: tuple[float, float] | None
    access: str
    notes: str
    needs: tuple[MapNeed, ...]
    lines: tuple[MapLine, ...]
    cost: str
    cautions: tuple[int, ...]
    planners: tuple[int, ...]
    tests: tuple[str, ...]
    history: tuple[str, ...]
    on_file: tuple[MapEntry, ...]
    sampling: MapSampling | None
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MapKeepOut:
    """Ground where nothing is spread.

    Parameters
    ----------
    name, setback
        Name with kind, and the setback as text ("setback not stated" when it is missing).
    stated
        Whether the setback is stated.
    points, paths, polygons
        Its shape by kind, (latitude, longitude).
    ground
        All ground it keeps free, setback included; empty when the setback is zero or not stated.
    """

    name: str
    setback: str
    stated: bool
    points: Ring = ()
    paths: tuple[Ring, ...] = ()
    polygons: Polygons = ()
    ground: Polygons = ()


@dataclass(frozen=True, slots=True)
class MapWay:
    """A track, gate, bridge, loading place or contact.

    Parameters
    ----------
    kind, text
        What it is; its name, width, load and note in words.
    points, paths
        Its shape by kind, (latitude, longitude).
    """

    kind: str
    text: str
    points: Ring = ()
    paths: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class MapStop:
    """One stop of a round.

    Parameters
    ----------
    plot
        Place in `MapData.plots`.
    line, mass, packages, rate
        Plan line id and texts; of a mix its first line, every amount, and the rate the spreader is set to.
    load
        Hopper fills it uses: "4", or "4–6" when the hopper is filled again on the way.
    bring
        What the vehicle has to bring for it, as text; empty when what is on it is enough.
    left
        What is still on the vehicle after it, as text. All three are empty when the hopper size is
        not stated, and of a mix.
    others, recipe
        Lines that share its hopper, and what goes into each fill.
    """

    plot: int
    line: str
    mass: str
    packages: str
    rate: str
    load: str = ""
    bring: str = ""
    left: str = ""
    others: tuple[str, ...] = ()
    recipe: str = ""


@dataclass(frozen=True, slots=True)
class MapRound:
    """One outing.

    Parameters
    ----------
    id, number, title, spreader
        Stable id, its number on phone, paper and command line, heading, spreader name (empty = not chosen).
    facts
        Sentences: stops, product, loads, last load, time.
    stops
        In visiting order.
    steps
        Places in `MapData.steps`.
    cautions
        What must be seen on the day before it begins, places in `MapData.cautions`.
    """

    id: str
    number: int
    title: str
    spreader: str
    facts: tuple[str, ...]
    stops: tuple[MapStop, ...]
    steps: tuple[int, ...]
    cautions: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MapCaution:
    """A caution as shown.

    Parameters
    ----------
    level, text, source, defers_to, product
        As in `Caution`, source as text.
    """

    level: str
    text: str
    source: str
    defers_to: str
    product: str


@dataclass(frozen=True, slots=True)
class MassUnit:
    """A unit the check-off form offers.

    Parameters
    ----------
    label, kg
        Text, and kilograms in one.
    """

    label: str
    kg: float


@dataclass(frozen=True, slots=True)
class MapData:
    """Everything the page shows. The page's script reads these fields and no others.

    Parameters
    ----------
    title, season, about, made_on, plan_id
        Heading texts and the plan's id (empty without a plan).
    store_key
        Where the browser keeps this property's check-offs; the same at every remake.
    units
        ``"us"`` or ``"metric"``.
    summary
        Sentences for the overview: plots, acres, outcome, dollars, what to buy.
    edition
        Whose it is: ``"planner"`` or ``"helper"``.
    earlier_jobs
        Jobs of the season's earlier plans.
    plots, context
        The plots, and outlines of plots that are not part of a map made for one round.
    keepouts, ways, layers, rounds, cautions
        What is drawn and said.
    everywhere
        Cautions that hold on the whole property, places in `cautions`.
    problems
        What is missing and why, one sentence each.
    products, equipment
        Names to choose from in the form.
    mass_units
        Units the form offers, in order; the first is the usual one.
    area_unit, area_unit_m2
        Unit of the area field and its size [m2].
    length_unit, length_unit_m, long_unit, long_unit_m
        Units of distances (feet and miles, or metres and kilometres) and their size [m].
    grid_m, grid_labels
        Ground distances of the paper grid the page may choose from [m], and their texts.
    known_entries, counted_entries
        Ids of record entries the property file already holds, and of those among them that the plan has
        taken off or that correct one it has.
    done_fraction, over_fraction, sane_fraction
        From which share of the planned mass a line counts as done, as over, and is asked about.
    sane_kg_m2
        An amount by area above which it is asked about [kg/m2].
    season_from, season_to
        First and last day of the season.
    bounds
        ((south, west), (north, east)) of all there is to see.
    start_round
        Id of the round the page opens with; empty = the plots.
    texts, steps
        The table of texts, and the steps behind the figures as places in it: what, value, unit, source.
    """

    edition: str
    title: str
    season: str
    about: str
    made_on: str
    plan_id: str
    store_key: str
    units: str
    summary: tuple[str, ...]
    plots: tuple[MapPlot, ...]
    context: Polygons
    keepouts: tuple[MapKeepOut, ...]
    ways: tuple[MapWay, ...]
    layers: tuple[MapLayer, ...]
    rounds: tuple[MapRound, ...]
    cautions: tuple[MapCaution, ...]
    everywhere: tuple[int, ...]
    problems: tuple[str, ...]
    products: tuple[str, ...]
    equipment: tuple[str, ...]
    mass_units: tuple[MassUnit, ...]
    area_unit: str
    area_unit_m2: float
    length_unit: str
    length_unit_m: float
    long_unit: str
    long_unit_m: float
    grid_m: tuple[float, ...]
    grid_labels: tuple[str, ...]
    known_entries: tuple[str, ...]
    counted_entries: tuple[str, ...]
    done_fraction: float
    over_fraction: float
    sane_fraction: float
    sane_kg_m2: float
    season_from: str
    season_to: str
    earlier_jobs: tuple[MapJob, ...]
    bounds: Corners
    start_round: str
    texts: tuple[str, ...] = field(repr=False)
    steps: tuple[tuple[int, int, int, int], ...] = field(repr=False)


def plain(value: Any) -> Any:
    """Turn a record of the map into what JSON knows, leaving out what is empty.

    Parameters
    ----------
    value
        A record of this package, or anything one holds.

    Returns
    -------
    object
        Dictionaries, lists, texts and numbers.
    """
    if is_dataclass(value) and not isinstance(value, type):
        pairs = ((f.name, getattr(value, f.name)) for f in fields(value))
        return {name: plain(item) for name, item in pairs if item is not None and item not in ("", ())}
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    return value
