"""The commands at the tailgate, ``loamwright tailgate …``: no property, nothing logged."""

from __future__ import annotations

import re
from typing import Annotated

import typer

from loamwright.commands.answer import Answer, command, read, read_if_given
from loamwright.errors import InputError, Problem, UnitError

app = typer.Typer(
    no_args_is_help=True,
    help="At the tailgate: how far, how fast, how much an acre. No property is needed, nothing is logged.",
)

Swath = Annotated[str, typer.Option(help="Working width, '20 ft'.")]
Speed = Annotated[str, typer.Option(help="Ground speed, '5 mph'.")]


def _either(text: str, mass: str, volume: str, example: str) -> tuple[float | None, float | None]:
    """Read an amount by weight or, a liquid, by volume."""
    from loamwright.units import convert, parse_quantity

    quantity = parse_quantity(text)
    for to, place in ((mass, 0), (volume, 1)):
        try:
            value = convert(quantity.value, quantity.unit, to)
        except UnitError:
            continue
        return (value, None) if place == 0 else (None, value)
    raise UnitError(f"{text!r} is neither by weight nor by volume", f"write for example {example}")


def _rate(text: str) -> tuple[float | None, float | None]:
    """Read a rate by weight [kg/ha] or, of a liquid, by volume [m3/ha]."""
    return _either(text, "kg/ha", "m3/ha", "120 lb/acre or 20 gal/acre")


def _seconds(text: str) -> float:
    """Read a time as a stopwatch shows it: 17, 17.2 s, 1:05, 2 min."""
    from loamwright.units import convert, parse_quantity, read_number

    minutes, colon, rest = text.strip().partition(":")
    if colon:
        return 60 * read_number(minutes) + read_number(rest)
    try:
        return read_number(text)
    except UnitError:
        quantity = parse_quantity(text)
        return convert(quantity.value, quantity.unit, "s")


def _share(text: str) -> float:
    from loamwright.files import parse_percent

    return parse_percent(text) / 100 if "%" in text else _plain(text)


def _plain(text: str) -> float:
    from loamwright.units import read_number

    return read_number(text)


def _ground(text: str) -> float:
    """Read an area: '21.8 ft2', a share as '1/128 acre', or a run as '20 ft x 400 ft' [m2]."""
    from loamwright.units import parse_area, parse_length, read_number

    if share := re.fullmatch(r"\s*([0-9]+)\s*/\s*([0-9]+)\s*([^\W\d].*)", text):
        above, below = read_number(share[1]), read_number(share[2])
        if not below:
            raise UnitError(f"{text!r} is no share", "write for example 1/128 acre")
        return parse_area(f"1 {share[3]}") * above / below
    sides = re.split(r"\s*[x×*]\s*(?=[0-9.])", text.strip(), flags=re.IGNORECASE)
    return parse_length(sides[0]) * parse_length(sides[1]) if len(sides) == 2 else parse_area(text)


def _weighed(texts: list[str]) -> list[float]:
    """Read what trays caught: plain numbers in one unit, or each with its unit; all in that of the first."""
    from loamwright.units import convert, parse_quantity

    try:
        return [_plain(text) for text in texts]
    except UnitError:
        pass
    for text in texts:
        read("catch", text, lambda one: _either(one, "kg", "m3", "0.11 lb or 14 fl oz"))
    caught = [parse_quantity(text) for text in texts]
    try:
        return [convert(one.value, one.unit, caught[0].unit) for one in caught]
    except UnitError as error:
        what = "some trays are given by weight and some by volume"
        raise InputError([Problem("catch", what, "Give all of them in one unit.")]) from error


@command(app, in_units=True)
def course(
    width: Annotated[str, typer.Argument(help="Swath, row or nozzle spacing: '30 in'.")],
    area: Annotated[
        str | None, typer.Option(help="Area of the strip, '1/10 acre'; 1/128 acre if not given.")
    ] = None,
) -> Answer:
    """Say how far to drive so that a strip of this width has a given area."""
    from loamwright import work
    from loamwright.units import parse_length

    strip = read_if_given("area", area, _ground)
    width_m = read("width", width, parse_length)
    return Answer(work.course(width_m) if strip is None else work.course(width_m, strip))


@command(app, in_units=True)
def speed(
    distance: Annotated[str, typer.Argument(help="Measured course, '100 ft'.")],
    time: Annotated[str, typer.Argument(help="Stopwatch: 17.2, '1:05', '2 min'.")],
) -> Answer:
    """Say how fast it went over a measured course."""
    from loamwright import work
    from loamwright.units import parse_length

    return Answer(work.speed(read("distance", distance, parse_length), read("time", time, _seconds)))


@command(app, in_units=True)
def rate(
    caught: Annotated[str, typer.Argument(help="What fell: '0.11 lb', '50 g', '14 fl oz'.")],
    area: Annotated[
        str, typer.Argument(help="Area of the tarp, trays or run: '21.8 ft2', '20 ft x 400 ft'.")
    ],
) -> Answer:
    """Say what rate a catch on a known area is; a liquid by volume."""
    from loamwright import work

    mass, volume = read("caught", caught, lambda text: _either(text, "kg", "m3", "0.11 lb or 14 fl oz"))
    return Answer(work.catch(mass, volume, read("area", area, _ground)))


@command(app, in_units=True)
def flow(
    flow: Annotated[str, typer.Argument(help="What runs out: '12 lb/min', '3.75 gal/min'.")],
    swath: Swath,
    speed: Speed,
) -> Answer:
    """Say what rate a flow is at a width and a speed."""
    from loamwright import work
    from loamwright.units import parse_length, parse_speed

    mass, volume = read("flow", flow, lambda text: _either(text, "kg/s", "m3/s", "12 lb/min"))
    place = read("swath", swath, parse_length), read("speed", speed, parse_speed)
    return Answer(work.from_flow(mass, volume, *place))


@command(app, in_units=True)
def change(
    rate: Annotated[str, typer.Argument(help="As tested: '120 lb/acre', '20 gal/acre'.")],
    tested: Annotated[str | None, typer.Option(help="Speed of the test, '3 mph'.")] = None,
    driven: Annotated[str | None, typer.Option(help="Speed now.")] = None,
    tested_swath: Annotated[str | None, typer.Option(help="Width of the test, '20 ft'.")] = None,
    swath: Annotated[str | None, typer.Option(help="Width now.")] = None,
) -> Answer:
    """Say what a tested rate becomes at another speed or width."""
    from loamwright import work
    from loamwright.units import parse_length, parse_speed

    found = work.changed(
        *read("rate", rate, _rate),
        read_if_given("tested", tested, parse_speed),
        read_if_given("driven", driven, parse_speed),
        read_if_given("tested swath", tested_swath, parse_length),
        read_if_given("swath", swath, parse_length),
    )
    return Answer(found)


@command(app, in_units=True)
def hour(
    swath: Swath,
    speed: Speed,
    efficiency: Annotated[str, typer.Option(help="Share of the time that spreads, '70 %'.")],
) -> Answer:
    """Say how much is spread in an hour."""
    from loamwright import work
    from loamwright.units import parse_length, parse_speed

    found = work.hour(
        read("swath", swath, parse_length),
        read("speed", speed, parse_speed),
        read("efficiency", efficiency, _share),
    )
    return Answer(found)


@command(app, in_units=True)
def bag(
    package: Annotated[str, typer.Argument(help="What is in it: '50 lb', a liquid '2.5 gal'.")],
    rate: Annotated[str, typer.Argument(help="Rate of the product: '120 lb/acre', '10 gal/acre'.")],
    swath: Annotated[str | None, typer.Option(help="Working width; also how far it reaches.")] = None,
) -> Answer:
    """Say how far a bag goes."""
    from loamwright import work
    from loamwright.units import parse_length

    mass, volume = read("package", package, lambda text: _either(text, "kg", "m3", "50 lb or 2.5 gal"))
    by_weight, by_volume = read("rate", rate, _rate)
    if (mass is None) is not (by_weight is None):
        what = f"of {package!r} and {rate!r} one is a weight and one a volume"
        raise InputError([Problem("rate", what, "Give both by weight, or both by volume.")])
    found = work.reach(
        mass or volume or 0.0,
        by_weight or by_volume or 0.0,
        read_if_given("swath", swath, parse_length),
    )
    return Answer(found)


@command(app)
def even(
    catches: Annotated[
        list[str], typer.Argument(metavar="CATCH…", help="Each tray, left to right, in one unit.")
    ],
) -> Answer:
    """Say how even a row of trays caught: coefficient of variation."""
    from loamwright import work

    return Answer(work.evenness(_weighed(catches)))


@command(app, in_units=True)
def tarp(
    side: Annotated[
        str | None, typer.Argument(metavar="[SIDE]", help="'56 in', the usual one, if not given.")
    ] = None,
    area: Annotated[str | None, typer.Option(help="Or the area it should have, '1/1000 acre'.")] = None,
    rate: Annotated[str | None, typer.Option(help="Also what falls on it at this rate.")] = None,
) -> Answer:
    """Say how large a square tarp is, and what falls on it at a rate."""
    from loamwright import work
    from loamwright.units import parse_length, parse_rate

    if side is not None and area is not None:
        raise InputError([Problem("tarp", "side and area are both given", "Give one of them.")])
    found = work.tarp(
        read_if_given("area", area, _ground),
        read_if_given("rate", rate, parse_rate),
        read("side", side or "56 in", parse_length),
    )
    return Answer(found)
