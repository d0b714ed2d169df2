"""The next season: what goes on by itself, what is to decide, what is due.

This file answers "what does the new season start with?". Perennial stands go on, a stand sown this season
is an established one next season, the last crop becomes the previous crop; annual ground is listed as to
decide. Nothing is guessed: a crop whose kind its name does not tell is to decide as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from loamwright.land import Cropping

#: Words of perennial forages (botanical life cycle; common knowledge of the trade, no source).
_PERENNIAL = re.compile(
    r"alfalfa|lucerne|white clover|ladino|red clover|alsike|clover|trefoil|chicory|timothy|brome|fescue|"
    r"orchardgrass|bluegrass|switchgrass|bluestem|reed canary|grass|hay\b|meadow|pasture|legume",
    re.I,
)
#: Words of annuals; one of them makes the crop annual, whatever stands beside it.
_ANNUAL = re.compile(
    r"oats?\b|\brye\b|barley|wheat|triticale|corn|maize|soy|brassica|turnip|radish|rape|kale|peas?\b|"
    r"buckwheat|sorghum|sudan|sunflower|millet|crimson clover|berseem|cowpea|annual",
    re.I,
)


def is_perennial(crop: str) -> bool | None:
    """Tell by its name whether a crop stands for years.

    Parameters
    ----------
    crop
        As the user wrote it.

    Returns
    -------
    bool or None
        None = the name does not tell.

    Examples
    --------
    >>> [is_perennial(name) for name in ("clover-chicory", "oats", "ryegrass", "potatoes")]
    [True, False, True, None]
    """
    if _ANNUAL.search(crop):
        return False
    return True if _PERENNIAL.search(crop) else None


@dataclass(frozen=True, slots=True)
class NextSeason:
    """What a new season starts with.

    Parameters
    ----------
    season
        Its name [calendar year].
    croppings
        One per plot that had one; an empty crop is to decide.
    goes_on, to_decide
        Plot ids of stands that go on, and of ground whose crop is to be named.
    """

    season: int
    croppings: tuple[Cropping, ...]
    goes_on: tuple[str, ...]
    to_decide: tuple[str, ...]


def next_season(croppings: Iterable[Cropping], season: int, plot_ids: Sequence[str]) -> NextSeason:
    """Work out the croppings a new season starts with.

    Parameters
    ----------
    croppings
        Of every season; several of one plot and season in their order.
    season
        The season that ends [calendar year].
    plot_ids
        Plots of the property.

    Returns
    -------
    NextSeason

    Notes
    -----
    A cropping of the next season that is there already (sown in fall, say) is left as it is. On a stand
    that goes on the previous crop is itself; its yield goal and legume share are carried over, since they
    are a judgement about the stand, and asked for again with the decisions.
    """
    found = list(croppings)
    already = {item.plot_id for item in found if item.season == season + 1}
    new: list[Cropping] = []
    goes_on: list[str] = []
    to_decide: list[str] = []
    for plot_id in plot_ids:
        mine = [item for item in found if item.plot_id == plot_id and item.season == season]
        if plot_id in already:
            continue
        last = mine[-1] if mine else Cropping(plot_id, season)
        if last.crop and is_perennial(last.crop):
            kept = replace(last, season=season + 1, previous_crop=last.crop, seeding=False, previous_stand="")
            new.append(kept)
            goes_on.append(plot_id)
        else:
            new.append(Cropping(plot_id, season + 1, previous_crop=last.crop))
            to_decide.append(plot_id)
    return NextSeason(season + 1, tuple(new), tuple(goes_on), tuple(to_decide))
