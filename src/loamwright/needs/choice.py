"""Which editions a property asks, in which order, and which of them answers for a crop and nutrient.

Several editions may serve one property. For each nutrient the first that prints a figure for the crop
answers, and is named with its status; one that the user chose for this crop goes before the others. A
printed range is an answer too: the rate in it is the user's to decide. The user's own standard rates come
where none of them gives a figure. A legal maximum is held against the need and never makes one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from loamwright.needs.crops import CropNames, kinds
from loamwright.needs.publication import Crop, Guideline, Status, prints_rule, recommend
from loamwright.needs.rates import Rate, Situation
from loamwright.soil import plain_name
from loamwright.values import Nutrient


@dataclass(frozen=True, slots=True)
class Asked:
    """One edition, and the crop of it that is meant.

    Parameters
    ----------
    guideline
        The edition.
    crop
        None when it does not name the plot's crop.
    put_in
        The plot's crop, where the user put this crop's rule in its place; empty otherwise.
    """

    guideline: Guideline
    crop: Crop | None
    put_in: str = ""

    def prints(self, nutrient: Nutrient) -> bool:
        """Tell whether it has a rule for the nutrient of this crop."""
        return self.crop is not None and prints_rule(self.guideline, nutrient, self.crop.name)


@dataclass(frozen=True, slots=True)
class ForCrop:
    """An edition the user chose for one crop.

    Parameters
    ----------
    guideline
        The edition.
    name
        Which of its crops governs; empty = the one of the same name.
    """

    guideline: Guideline
    name: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """The editions of a property.

    Parameters
    ----------
    editions
        For any crop, in the order they are asked.
    for_crops
        Those chosen for one crop, by its name reduced to words.
    names
        Other names of crops.
    """

    editions: tuple[Guideline, ...]
    for_crops: Mapping[str, tuple[ForCrop, ...]] = field(default_factory=dict)
    names: CropNames = field(default_factory=CropNames)

    def asked(self, crop_text: str) -> tuple[Asked, ...]:
        """Order the editions for one crop; the user's standard rates come last.

        Parameters
        ----------
        crop_text
            The crop as the plot calls it.

        Returns
        -------
        tuple of Asked
            Each edition once, those chosen for this crop first.
        """
        own = self.for_crops.get(plain_name(crop_text), ()) if crop_text.strip() else ()
        entries = (*own, *(ForCrop(edition) for edition in self.editions))
        found: dict[str, Asked] = {}
        for entry in sorted(entries, key=lambda one: one.guideline.standard_rates):
            names = (entry.name,) if entry.name else self.names.same(crop_text)
            if entry.guideline.standard_rates:  # also under the name of the rule that governs
                names = (*names, *(one.crop.name for one in found.values() if one.crop is not None))
            crop = entry.guideline.crop(*names) if crop_text.strip() else None
            put_in = crop_text.strip() if entry.name and crop is not None else ""
            found.setdefault(entry.guideline.guideline_id, Asked(entry.guideline, crop, put_in))
        return tuple(found.values())


@dataclass(frozen=True, slots=True)
class Answer:
    """What the chosen editions print for one nutrient of one plot.

    Parameters
    ----------
    asked, rate
        The edition that answers and its rate; None when none has a rule.
    own
        The user's standard rate, where it is used.
    """

    asked: Asked | None
    rate: Rate | None
    own: Asked | None = None


def answer(asked: tuple[Asked, ...], nutrient: Nutrient, situations: Mapping[str, Situation]) -> Answer:
    """Let the editions answer in their order.

    Parameters
    ----------
    asked
        The editions, as `Choice.asked` orders them.
    nutrient
        Which nutrient.
    situations
        What is known of the plot, by the name of the crop meant.

    Returns
    -------
    Answer
        The first figure or range; else the first edition that has a rule and says why it cannot answer.
    """
    first = Answer(None, None)
    for one in asked:
        if one.crop is None or one.guideline.status is Status.MAXIMUM or not one.prints(nutrient):
            continue
        rate = recommend(one.guideline, nutrient, situations[one.crop.name])
        if one.guideline.standard_rates:
            return first if rate.value is None else Answer(first.asked, first.rate, one)
        if rate.value is not None:
            return Answer(one, rate)
        if first.rate is None or (rate.between is not None and first.rate.between is None):
            first = Answer(one, rate)
    return first


# ---------------------------------------------------------------------------------------------
# The setting, as text

_ENTRY = re.compile(r"^(?:(?P<crop>[^=]+)=)?(?P<edition>.+?)(?:\s+as\s+(?P<name>[^=]+))?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Chosen:
    """One entry of the setting.

    Parameters
    ----------
    edition
        Id or folder.
    crop
        Crop it is for, as written; empty = any.
    name
        Which of its crops governs; empty = the one of the same name.
    """

    edition: str
    crop: str = ""
    name: str = ""

    def __str__(self) -> str:
        """Write the entry as the setting holds it."""
        start = f"{self.crop} = " if self.crop else ""
        return f"{start}{self.edition}" + (f" as {self.name}" if self.name else "")


def read_chosen(setting: str) -> tuple[Chosen, ...]:
    """Read the setting that names the editions.

    Parameters
    ----------
    setting
        Entries with semicolons between: an edition for any crop; ``crop = edition`` for one crop;
        ``crop = edition as its crop`` where the user says which rule governs.

    Returns
    -------
    tuple of Chosen

    Examples
    --------
    >>> read_chosen("umn-forage-2011; deer mix = nc-wildlife-2014 as Deer/Turkey")[1]
    Chosen(edition='nc-wildlife-2014', crop='deer mix', name='Deer/Turkey')
    """
    entries = []
    for text in setting.split(";"):
        match = _ENTRY.match(text.strip())
        if match is not None:
            parts = {key: (value or "").strip() for key, value in match.groupdict().items()}
            entries.append(Chosen(parts["edition"], parts["crop"], parts["name"]))
    return tuple(entries)


def write_chosen(entries: tuple[Chosen, ...]) -> str:
    """Write the setting that `read_chosen` reads.

    Parameters
    ----------
    entries
        In the order they are asked.

    Returns
    -------
    str
    """
    return "; ".join(map(str, entries))


#: Word that stands before the depth rule in the setting of the lime edition.
DEPTH = "depth"


def lime_edition(setting: str) -> str:
    """Name the edition in the setting of the lime edition.

    Parameters
    ----------
    setting
        An id or folder, with the depth rule after a semicolon when one is chosen.

    Returns
    -------
    str

    Examples
    --------
    >>> lime_edition("umn-wildlife-lime; depth = half")
    'umn-wildlife-lime'
    """
    return next((entry.edition for entry in read_chosen(setting) if entry.crop != DEPTH), "")


def lime_depth_rule(setting: str) -> str:
    """Name the depth rule in the setting of the lime edition.

    Parameters
    ----------
    setting
        As in `lime_edition`.

    Returns
    -------
    str
        Empty when none is chosen.

    Examples
    --------
    >>> lime_depth_rule("umn-wildlife-lime; depth = half")
    'half'
    """
    return next((entry.edition for entry in read_chosen(setting) if entry.crop == DEPTH), "")


# ---------------------------------------------------------------------------------------------
# A crop that no edition names


def candidates(asked: tuple[Asked, ...], names: CropNames, crop_text: str) -> tuple[str, ...]:
    """Name the rules that may govern a mixture: those of its parts, and those for a mixture of them."""
    parts = names.parts(crop_text)
    mixed = kinds(names, parts)
    found: list[str] = []
    for one in asked:
        listed = [crop for part in parts if (crop := one.guideline.crop(*names.same(part)))]
        if {"grass", "legume"} <= mixed or {"cereal", "legume"} <= mixed:
            listed += [crop for crop in one.guideline.crops if "mixture" in crop.name]
        found += [f"{crop.name} of {one.guideline.guideline_id}" for crop in listed]
    return tuple(dict.fromkeys(found))
