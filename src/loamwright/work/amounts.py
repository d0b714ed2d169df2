"""How much went on, as people write it: by weight, in packages, by volume, or so much on every acre."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from loamwright import land
from loamwright.errors import Level, Problem, UnitError
from loamwright.units import (
    HA_M2,
    convert,
    format_mass,
    parse_package,
    parse_quantity,
    parse_rate,
    read_number,
)
from loamwright.work.records import PropertyRecord

#: "2.5 bags", "1 jug", "3 packages": any package, or one of that kind.
_COUNTED = re.compile(r"(\S+)\s+(bags?|sacks?|jugs?|totes?|packages?|pkgs?)", re.I)
#: "4 × 25 kg bag", as orders print it.
_SIZED = re.compile(r"(\S+)(?:\s+x\s+|\s*×\s*)(.+)", re.I)


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount as written, read.

    Parameters
    ----------
    mass_kg
        Product [kg].
    packages
        True where it was written in packages.
    taken_as
        Which package was meant where the text fits several and one of them is planned or bought; else empty.
    """

    mass_kg: float
    packages: bool = False
    taken_as: str = ""

    def told(self, where: str, text: str, system: str) -> tuple[Problem, ...]:
        """Say which package was meant, where that does not stand in the text.

        Parameters
        ----------
        where
            The place in words.
        text
            As written.
        system
            Of units, to say the amount in.

        Returns
        -------
        tuple of Problem
            One note, or none.
        """
        if not self.taken_as:
            return ()
        what = (
            f"{text!r} was read as {self.taken_as}, {format_mass(self.mass_kg, system)}: no other package "
            "of it is planned or was bought"
        )
        return (Problem(where, what, "If it was another, correct it.", Level.NOTE),)


def read_amount(
    text: str,
    product: str,
    plot_id: str,
    area_m2: float | None,
    record: PropertyRecord,
    decimal_comma: bool | None = None,
) -> Amount:
    """Read an amount as people write it: by weight, in packages, gallons, or an area's worth.

    Parameters
    ----------
    text
        ``"120 lb"``, ``"2.5 bags"``, ``"4 × 25 kg bag"``, ``"3 gal"``, ``"120 lb/acre"``.
    product, plot_id
        What, and where.
    area_m2
        Ground it went on [m2]; None = the plot's spread area.
    record
        The property: packages, densities, plots.
    decimal_comma
        As in `read_number`.

    Returns
    -------
    Amount

    Raises
    ------
    UnitError
        When it is none of these, or the package, the density or the plot is not known.
    """
    bare, units = text.strip(), record.info.units
    counted, sized = _COUNTED.fullmatch(bare), _SIZED.fullmatch(bare)
    if match := counted or sized:
        count = read_number(match[1], decimal_comma)
        if count < 0:
            raise UnitError(f"{text!r} is negative", "write what was put on; zero means not done")
        if counted:
            package_kg, taken_as = _counted_package(match[2], product, record)
        else:
            package_kg, taken_as = _sized_package(match[2], product, record), ""
        return Amount(count * package_kg, True, taken_as)
    if "/" in bare:
        ground_m2 = _spread_area_m2(plot_id, record) if area_m2 is None else area_m2
        return Amount(parse_rate(bare, units, decimal_comma) * ground_m2 / HA_M2)
    if parse_quantity(bare, decimal_comma).value < 0:
        raise UnitError(f"{text!r} is negative", "write what was put on; zero means not done")
    us, metric = "120 lb, 2.5 bags, 3 gal, 120 lb/acre", "120 kg, 2.5 bags, 10 l, 130 kg/ha"
    examples = metric if units == "metric" else us
    fix = f"write a weight, packages or a volume: {examples}"
    return Amount(weight_kg(bare, product, record, fix, decimal_comma))


def weight_kg(
    text: str, product: str, record: PropertyRecord, fix: str, decimal_comma: bool | None = None
) -> float:
    """Read a weight, or the volume of a product whose density is on file.

    Parameters
    ----------
    text
        ``"120 lb"``, ``"3 gal"``.
    product
        Of what.
    record
        The property: units and densities.
    fix
        What to write instead of what is neither.
    decimal_comma
        As in `read_number`.

    Returns
    -------
    float
        Product [kg].

    Raises
    ------
    UnitError
        When it is neither, or the density is not known.
    """
    quantity, units = parse_quantity(text, decimal_comma), record.info.units
    try:
        return convert(quantity.value, quantity.unit, "kg", units)
    except UnitError:
        try:
            volume_m3 = convert(quantity.value, quantity.unit, "m3", units)
        except UnitError as error:
            raise UnitError(f"{text!r} is no amount", fix) from error
    label = next((one for one in record.products if one.product == product), None)
    if label is None or not label.density_kg_m3:
        what = f"{text!r} is a volume, and the density of {product} is not stated"
        raise UnitError(what, f"write its weight, or set product '{product}' density=")
    return volume_m3 * label.density_kg_m3


def _spread_area_m2(plot_id: str, record: PropertyRecord) -> float:
    plot_id = record.former_names.get(plot_id, plot_id)
    plots = [one for one in record.plots if one.plot_id == plot_id]
    if not plots:
        what = f"there is no plot {plot_id!r} whose size could be taken"
        raise UnitError(what, "write the weight, or how much ground it went on")
    return land.areas(plots, record.keepouts)[0].spread_area_m2


def _packages(product: str, record: PropertyRecord, *, bulk: bool = False) -> Mapping[str, float]:
    """Package as written to its net mass [kg], of every size there is of a product."""
    offered = [
        (one.package, one.package_kg)
        for one in record.offers
        if one.product == product and (bulk or not one.divisible)
    ]
    loose = {one.package for one in record.offers if one.product == product and one.divisible}
    had = [
        (one.package, one.package_kg)
        for one in record.purchases
        if one.product == product and (bulk or one.package not in loose)
    ]
    found: dict[str, tuple[str, float]] = {}
    for package, package_kg in (*offered, *had):
        if package_kg:
            found.setdefault(f"{package_kg:.6g}", (package, package_kg))
    return dict(found.values())


def _counted_package(word: str, product: str, record: PropertyRecord) -> tuple[float, str]:
    """The net mass of the package that is meant [kg], and its name where several could be."""
    packages = _packages(product, record)
    kind = word.casefold().rstrip("s")
    named = {package: kg for package, kg in packages.items() if kind in package.casefold()} or packages
    if len(named) == 1:
        return next(iter(named.values())), ""
    plan = record.plan
    planned = {one.package for one in plan.buy if one.product == product} if plan is not None else set()
    had = {one.package for one in record.purchases if one.product == product}
    used = {f"{packages[name]:.6g}": name for name in named if name in planned | had}
    if len(used) == 1:
        ((_, package),) = used.items()
        return named[package], package
    listed = ", ".join(named) or "none with a known weight"
    what = f"{product} comes in {len(named)} kinds of package ({listed})"
    example = "100 kg" if record.info.units == "metric" else "120 lb"
    if named:
        example = f"4 × {next(iter(named))}, or {example}"
    raise UnitError(what, f"write which, or the weight: for example {example}")


def _sized_package(text: str, product: str, record: PropertyRecord) -> float:
    """The net mass of a package of a product that is named by its size [kg]."""
    packages = _packages(product, record, bulk=True)
    wanted = _plain(text)
    for package, package_kg in packages.items():
        if _plain(package) == wanted:
            return package_kg
    try:
        mass_kg = parse_package(text, None, record.info.units, decimal_comma=False)
    except UnitError:
        mass_kg = None
    for package_kg in packages.values():
        if mass_kg is not None and f"{package_kg:.6g}" == f"{mass_kg:.6g}":
            return package_kg
    listed = ", ".join(packages) or "none with a known weight"
    raise UnitError(f"{product} does not come in {text!r}", f"there are: {listed}")


def _plain(package: str) -> str:
    return " ".join(package.casefold().split()).rstrip("s")
