"""What people write about jobs, products, crops and keep-outs, read for the caution rules.

This file answers "does this text say the ground was frozen, is this product urea, is that keep-out a
stream?". It reads words only where the data has no field for the fact; a product known by its name
alone is said to be.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from loamwright.land import Cropping, KeepOut
from loamwright.supplies import Form, Product
from loamwright.units import convert, read_number
from loamwright.work.records import Application


def says(text: str, pattern: str) -> bool:
    """Tell whether free text says something, and does not say that it is not so.

    Examples
    --------
    >>> says("Frozen, 2 in of snow", "frozen|snow"), says("not frozen, no snow", "frozen|snow")
    (True, False)
    """
    found = re.finditer(pattern, text.casefold())
    return any(
        not re.search(r"(\b(no|not|never|without)\s+(yet\s+)?|un)$", text.casefold()[: m.start()])
        for m in found
    )


def worked_in(entry: Application) -> bool:
    """Tell whether an entry says that the product was worked into the soil."""
    said = f"{entry.method}; {entry.note}"
    return says(said, r"incorporat|worked in|inject|harrow|\bdis[ck](ed|k)?\b|plow|plough|\btilled|raked in")


def rain_chance_pct(forecast: str) -> float | None:
    """Read the largest chance of rain in a forecast as written.

    Examples
    --------
    >>> rain_chance_pct("60 % chance of 1.2 in tonight")
    60.0
    """
    return max(
        (read_number(number) for number in re.findall(r"(?<!\d)(\d{1,3}(?:\.\d{1,3})?)\s*%", forecast)),
        default=None,
    )


def rain_depth(forecast: str, unit: str) -> float:
    """Read the largest depth of rain in a forecast as written.

    Examples
    --------
    >>> rain_depth("0.5 in of rain tonight", "inch")
    0.5
    """
    found = re.findall(r"(?<!\d)(\d{0,3}\.?\d{1,3})\s*(inches|inch|in|mm|cm)\b", forecast.casefold())
    return max((convert(read_number(number), written, unit) for number, written in found), default=0.0)


#: Materials by the words for them. "urea" is inside UAN as well; a product may be several.
MATERIALS: Mapping[str, str] = {
    "UAN": r"\buan\b|urea[ -]ammonium[ -]nitrate",
    "urea": r"\burea\b|\buan\b",
    "ammonium nitrate": r"(?<!urea )(?<!urea-)\bammonium nitrate\b",
    "ammonium sulfate": r"\bammonium sul(f|ph)ate\b",
    "DAP": r"\bdap\b|\bdi-?ammonium phosphate\b",
    "MAP": r"\bmap\b|\bmono-?ammonium phosphate\b",
    "potassium chloride": r"\bpotassium chloride\b|\bmuriate of potash\b",
    "triple superphosphate": r"\btriple super(phosphate)?\b|\btsp\b",
    "thiosulfate": r"thiosul(f|ph)ate",
    "caustic lime": r"\b(hydrated|slaked|quick|burnt|burned) ?lime\b|\bcalcium (hydr)?oxide\b",
    "pelletized": r"\bpellet",
}


def made_of(product: Product, material: str) -> str | None:
    """Tell whether a product is or holds a material, and how that is known."""
    pattern = MATERIALS[material]
    forms = [form for form, percent in product.nitrogen_forms_pct.items() if percent > 0]
    if any(re.search(pattern, word.casefold()) for word in (product.ingredient, *product.contains, *forms)):
        return ""
    return " (going by its name)" if re.search(pattern, product.product.casefold()) else None


def is_fertilizer(product: Product) -> bool:
    """Tell a fertilizer from a lime."""
    return product.form is not Form.LIME


_LEGUME = r"clover|alfalfa|lucerne|trefoil|vetch|\bpeas?\b|soybean|cowpea|lespedeza|sainfoin|lupine|legume"


def is_legume(cropping: Cropping | None, at_least_pct: float) -> bool:
    """Tell whether a stand counts as legume: by its stated share, else by its crop's name."""
    if cropping is None:
        return False
    if cropping.legume_pct is not None:
        return cropping.legume_pct >= at_least_pct
    return re.search(_LEGUME, cropping.crop.casefold()) is not None


def legume_shares(croppings: Iterable[Cropping]) -> str:
    """Write the legume shares of stands, or the crops whose share is not stated."""
    stands = tuple(croppings)
    shares = sorted(stand.legume_pct for stand in stands if stand.legume_pct is not None)
    unstated = dict.fromkeys(stand.crop for stand in stands if stand.legume_pct is None)
    parts = [f"{crop} (share not stated)" for crop in unstated]
    if shares:
        span = f"{shares[0]:g}" if shares[0] == shares[-1] else f"{shares[0]:g} to {shares[-1]:g}"
        parts.insert(0, f"{span} % legume")
    return ", ".join(parts)


_KINDS: Mapping[str, str] = {
    "stream": r"creek|stream|river|brook|ditch",
    "lake": r"lake|pond|flowage|reservoir|wetland|marsh",
    "water": r"water|creek|stream|river|brook|ditch|lake|pond|flowage|reservoir|wetland|marsh|spring",
    "tile": r"tile",
    "well": r"\bwell\b|quarry",
    "sinkhole": r"sinkhole|karst",
    "hard": r"road|track|drive|\blane\b|\byard\b|paved|parking|path",
    "lime road": r"(gravel|limestone|crushed).*road|road.*(gravel|limestone|crushed)",
}


def is_kind(keepout: KeepOut, kind: str) -> bool:
    """Tell whether a keep-out is of a kind, by what the user wrote."""
    written = keepout.kind.casefold()
    if written == "water" or kind == "lime road":
        written = f"{written} {keepout.name.casefold()} {keepout.notes.casefold()}"
    return re.search(_KINDS[kind], written) is not None
