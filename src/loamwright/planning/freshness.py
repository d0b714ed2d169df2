"""What a plan stood on, and whether that still holds.

This file answers "is this plan old, and why?". A plan keeps a fingerprint: one short text for each thing
it stood on. Later the same texts are made again; what differs is named. What carrying out the plan
explains is not a difference: its lines done, its offers bought up to their count.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

#: Kinds of things a plan stands on, with what people call them, in the order they are told.
KINDS: Mapping[str, str] = {
    "area": "spread area of {}",
    "need": "need of {}",
    "decision": "decision on {}",
    "reach": "reach of {}",
    "label": "label of {}",
    "offer": "offer {}",
    "stock": "stock of {}",
    "spreader": "spreader {}",
    "setting": "setting {}",
    "guideline": "guideline for {}",
    "outside": "put on {} outside the plan",
    "bought": "bought outside the plan: {}",
    "season": "season{}",
}

#: Between a kind and what it is of.
_MARK = ":"

#: Numbers that differ by less than this share are the same: the figures are made again, not copied.
TOLERANCE = 1e-6


def key(kind: str, of: str = "") -> str:
    """Return the key of one thing in a fingerprint.

    Parameters
    ----------
    kind
        One of `KINDS`.
    of
        Ids.

    Returns
    -------
    str
    """
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of thing a plan stands on")
    return f"{kind}{_MARK}{of}"


def figure(value: float | None, unit: str = "") -> str:
    """Return a number as it stands in a fingerprint; ``"unknown"`` for None.

    Parameters
    ----------
    value
        The number.
    unit
        Its unit.

    Returns
    -------
    str
    """
    return "unknown" if value is None else f"{value:.9g} {unit}".strip()


def called(fingerprint: Mapping[str, str], names: Mapping[str, str]) -> dict[str, str]:
    """Put other names of the plots into a fingerprint: their ids for ever, or those they have today.

    Parameters
    ----------
    fingerprint
        Of a plan.
    names
        The plot's id in it to the one it gets; a plot that is absent keeps its own.

    Returns
    -------
    dict of str to str

    Examples
    --------
    >>> called({"need:A-1 P2O5": "20 kg/ha", "season:": "2026"}, {"A-1": "Creek"})
    {'need:Creek P2O5': '20 kg/ha', 'season:': '2026'}
    """
    found = {}
    for one, text in fingerprint.items():
        kind, mark, of = one.partition(_MARK)
        plot, space, supply = of.rpartition(" ") if kind in _PLOT_AND_SUPPLY else (of, "", "")
        if kind in _OF_PLOTS:
            one = f"{kind}{mark}{names.get(plot, plot)}{space}{supply}"
        found[one] = text
    return found


#: Kinds whose keys name a plot, and those that name what is supplied after it.
_PLOT_AND_SUPPLY = frozenset({"need", "decision"})
_OF_PLOTS = frozenset({"area", "reach"}) | _PLOT_AND_SUPPLY


@dataclass(frozen=True, slots=True)
class Aged:
    """One thing a plan stood on that is not as it was.

    Parameters
    ----------
    what
        ``"need of AF-03 N"``.
    then, now
        As it was and as it is; empty = it was not there, or is not there any more.
    """

    what: str
    then: str
    now: str

    def __str__(self) -> str:
        if not self.then:
            return f"{self.what}: new, {self.now}"
        if not self.now:
            return f"{self.what}: no longer there ({self.then})"
        return f"{self.what}: {self.then} → {self.now}"


def what_aged(then: Mapping[str, str], now: Mapping[str, str]) -> tuple[Aged, ...]:
    """Name what a plan stood on that has changed.

    Parameters
    ----------
    then, now
        Fingerprints; an empty one of then says that nothing is known, and nothing is named.

    Returns
    -------
    tuple of Aged
        In the order of `KINDS`.
    """
    if not then:
        return ()
    found = [
        (one, Aged(_words(one), then.get(one, ""), now.get(one, "")))
        for one in dict.fromkeys((*then, *now))
        if not _same(then.get(one, ""), now.get(one, ""))
    ]
    order = {kind: place for place, kind in enumerate(KINDS)}
    found.sort(key=lambda item: order.get(item[0].partition(_MARK)[0], len(order)))
    return tuple(aged for _, aged in found)


def _words(one: str) -> str:
    kind, _, of = one.partition(_MARK)
    return KINDS.get(kind, f"{kind} {{}}").format(of).strip()


def _same(then: str, now: str) -> bool:
    """Compare two texts; leading numbers by their value."""
    if then == now:
        return True
    (first, *rest_then), (second, *rest_now) = then.split(" ") or [""], now.split(" ") or [""]
    try:
        one, two = float(first), float(second)
    except ValueError:
        return False
    return rest_then == rest_now and abs(one - two) <= TOLERANCE * max(abs(one), abs(two), 1e-9)


def over_the_plan(
    planned_kg: Mapping[str, float], applied_kg: Mapping[str, float], over_fraction: float
) -> tuple[str, ...]:
    """Name plan lines that got more than the band allows: that is not explained by carrying out the plan.

    Parameters
    ----------
    planned_kg, applied_kg
        By line id [kg].
    over_fraction
        Upper edge of the band [fraction of planned], for example 1.05.

    Returns
    -------
    tuple of str
        Line ids.
    """
    return tuple(
        line for line, kg in planned_kg.items() if applied_kg.get(line, 0.0) > kg * over_fraction + 1e-9
    )


def bought_outside(
    planned: Mapping[tuple[str, str], float],
    counted: Iterable[str],
    bought: Sequence[tuple[str, str, str, float]],
) -> Mapping[str, str]:
    """Say what was bought since the plan that it did not ask for.

    Parameters
    ----------
    planned
        (product, package) to packages the plan buys.
    counted
        Ids of purchases the plan knew of.
    bought
        (id, product, package, packages); returned ones below zero.

    Returns
    -------
    mapping of str to str
        Fingerprint entries.
    """
    known = frozenset(counted)
    since: dict[tuple[str, str], float] = {}
    for purchase_id, product, package, count in bought:
        if purchase_id not in known:
            since[product, package] = since.get((product, package), 0.0) + count
    return {
        key("bought", f"{product}, {package}"): figure(
            count - planned.get((product, package), 0.0), "packages"
        )
        for (product, package), count in since.items()
        if count > planned.get((product, package), 0.0) + 1e-9 or count < 0
    }
