"""What people call a crop: other names of the same crop, the parts of a mixture, near spellings.

A name stands for one crop or for none: another name of the same crop is accepted, a neighbour crop never.
What is only near is suggested to the person who asked. A mixture is cut into its parts by the words that
join them, and the person says which rule governs.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loamwright.soil import plain_name

#: How alike two spellings must be to be suggested [0 to 1]. Ours; common practice, no source.
_NEAR = 0.75
_JOINED = re.compile(r"\s*(?:\+|&|/|,|;|\band\b|\bwith\b|\bplus\b)\s*", re.IGNORECASE)
_LABEL = re.compile(r"^\s*[^:]*\b(?:mix|mixture|blend|plot)\b[^:]*:\s*", re.IGNORECASE)
_TAIL = re.compile(r"\s*\b(?:mix|mixture|blend)\b\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CropName:
    """One crop and what else it is called.

    Parameters
    ----------
    name
        Its usual name.
    botanical
        The species, which tells it from its neighbours.
    kind
        Legume, grass, cereal, brassica or forb.
    others
        Other names of the same crop.
    forms
        Names that say more: winter wheat is wheat, but wheat need not be winter wheat.
    """

    name: str
    botanical: str
    kind: str
    others: tuple[str, ...]
    forms: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Every name that means the whole crop, reduced to words."""
        return tuple(map(plain_name, (self.name, *self.others)))

    @property
    def every(self) -> tuple[str, ...]:
        """Those and the names of its forms."""
        return (*self.names, *map(plain_name, self.forms))


@dataclass(frozen=True, slots=True)
class CropNames:
    """The crop names that are known.

    Parameters
    ----------
    crops
        One entry for each crop.
    """

    crops: tuple[CropName, ...] = ()

    def of(self, text: str) -> CropName | None:
        """Find the one crop a name stands for.

        Parameters
        ----------
        text
            As somebody wrote it.

        Returns
        -------
        CropName or None
            None when it is not known.
        """
        wanted = plain_name(text)
        return next((crop for crop in self.crops if wanted in crop.every), None)

    def same(self, text: str) -> tuple[str, ...]:
        """List every name that may stand for the one written, itself first, reduced to words.

        A form (winter wheat) is the crop (wheat); the crop is none of its forms.

        Parameters
        ----------
        text
            As somebody wrote it.

        Returns
        -------
        tuple of str
        """
        found = self.of(text)
        written = plain_name(text)
        if found is None:
            return (written,)
        return tuple(dict.fromkeys((written, *found.names)))

    def parts(self, text: str) -> tuple[str, ...]:
        """Cut a mixture into its parts.

        Parameters
        ----------
        text
            ``"deer mix: clover + chicory"`` gives clover and chicory, ``"oats-peas"`` oats and peas.

        Returns
        -------
        tuple of str
            Empty when the text names no mixture.
        """
        if self.of(text) is not None:
            return ()
        bare = _TAIL.sub("", _LABEL.sub("", text))
        found = [part for part in _JOINED.split(bare) if part.strip()]
        if len(found) < 2:
            dashed = [part.strip() for part in re.split(r"\s*[-–]\s*", bare) if part.strip()]
            known = all(self.of(part) or part.casefold() in _GROUPS for part in dashed)
            found = dashed if len(dashed) > 1 and known else found
        return tuple(found) if len(found) > 1 else ()

    def near(self, text: str, others: Iterable[str] = ()) -> tuple[str, ...]:
        """Suggest at most three names that are spelled or built like the one written.

        Parameters
        ----------
        text
            As somebody wrote it.
        others
            Further names that may have been meant.

        Returns
        -------
        tuple of str
            Empty for a name that is known: its neighbours are other crops.
        """
        written = plain_name(text)
        if self.of(text) is not None:
            return ()
        known = {name: name for name in map(plain_name, others)}
        known |= {name: crop.name for crop in self.crops for name in crop.every}
        close = difflib.get_close_matches(written, known, n=3, cutoff=_NEAR)
        words = [name for name in known if written and written in name.split()]
        nearest: dict[str, str] = {}  # of each crop, the spelling that is nearest
        for name in (*close, *words):
            if name != written:
                nearest.setdefault(known[name], name)
        return tuple(nearest.values())[:3]


#: Words for a group of crops, and their kind; a group's rule is no rule of one crop, and the other way round.
_GROUPS = {
    "clover": "legume",
    "clovers": "legume",
    "legume": "legume",
    "vetch": "legume",
    "grass": "grass",
    "millet": "grass",
    "fescue": "grass",
    "ryegrass": "grass",
    "brassica": "brassica",
}


def kinds(names: CropNames, parts: Sequence[str]) -> frozenset[str]:
    """Tell the kinds of a mixture's parts, as far as they are known."""
    found = {crop.kind for part in parts if (crop := names.of(part)) is not None}
    return frozenset(found | {_GROUPS[part.casefold()] for part in parts if part.casefold() in _GROUPS})
