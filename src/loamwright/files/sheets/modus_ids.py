"""Modus test ids read by their parts: analyte, extraction, measurement.

Version 1 ids are spelled out (``S-P-B1-1:10.01.03``: soil, P, Bray 1 at 1:10, spectrophotometer,
molybdate); version 2 ids are numbers, of which ours are a few. The id that was sent is read; none is
translated into the other version, for the published translation swaps tests.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from loamwright.files.sheets.words.vocabulary import Analyte, table_rows, vocabulary

#: Measurement codes that tell two Mehlich-3 phosphorus tests apart.
_COLOUR, _ICP = "01", ("04", "23")

#: Measurement codes of soil that was not dried: not comparable with dried soil.
_NOT_DRIED = {"20": "field-moist soil", "21": "slurry"}

_CALCULATED, _CALCIUM_CHLORIDE = "19", "08"


@dataclass(frozen=True, slots=True)
class ModusTest:
    """What a test id says; `test` is None when the id names none that is known."""

    analyte: Analyte | None
    test: str | None
    calculated: bool = False
    index: bool = False
    note: str | None = None
    matrix: str = "S"

    @property
    def known(self) -> bool:
        """Whether the id was understood."""
        return self.analyte is not None


UNKNOWN = ModusTest(None, None)


@lru_cache(maxsize=1)
def _parts() -> dict[tuple[str, str, str], str]:
    return {(row["part"], row["code"], row["analyte"]): row["meaning"] for row in table_rows("modus_parts")}


@lru_cache(maxsize=1)
def _numbers() -> dict[str, tuple[str, str]]:
    return {row["code"]: (row["analyte"], row["test"]) for row in table_rows("modus_numbers")}


def read_test_id(text: str | None) -> ModusTest:
    """Read a Modus test id; `UNKNOWN` when it is none of ours."""
    bare = (text or "").strip()
    number = re.fullmatch(r"L_MODV2_SOIL_([A-Z0-9]+_[0-9]+)", bare.upper())
    if number:
        name, test = _numbers().get(number[1], ("", ""))
        analyte = vocabulary().analyte_names.get(name)
        return ModusTest(analyte, test or None, calculated=test == "calculated") if analyte else UNKNOWN
    match = re.fullmatch(r"([SM])-([A-Za-z0-9]+)(?:-([^.]+))?((?:\.[0-9]+)*)", bare)
    if match is None:
        return UNKNOWN
    named = _parts().get(("analyte", match[2].upper(), ""))
    if named is None:
        return UNKNOWN
    analyte = vocabulary().analyte_names[named]
    codes = tuple(code for code in match[4].split(".") if code)
    return _with_test(analyte, match[3] or "", codes, match[1])


def _with_test(analyte: Analyte, extraction: str, codes: tuple[str, ...], matrix: str) -> ModusTest:
    measured = codes[0] if codes else ""
    calculated = measured == _CALCULATED
    code = extraction.upper()
    index = code == "NCINDX"
    if analyte.kind == "pH":
        salt = _CALCIUM_CHLORIDE in codes[1:]
        salt_or_water = f"0.01 M CaCl2 {code}" if salt else f"{code} water"
        paste = _parts().get(("test", code, ""))
        test = salt_or_water if re.fullmatch(r"1:[0-9]", code) else paste
        return ModusTest(analyte, test, matrix=matrix)
    if analyte.kind == "CEC":
        return ModusTest(analyte, "calculated" if calculated else None, matrix=matrix)
    if measured in _NOT_DRIED:
        return ModusTest(
            analyte, None, note=f"{_NOT_DRIED[measured]}: not comparable with dried soil", matrix=matrix
        )
    if code == "BK":
        return ModusTest(analyte, None, note="Bray P1 or Bray P2: the id does not say", matrix=matrix)
    test = _parts().get(("test", code, analyte.name)) or _parts().get(("test", code, ""))
    if test == "Mehlich-3" and analyte.name == "P" and not index:
        test = (
            "Mehlich-3 colorimetric"
            if measured == _COLOUR
            else ("Mehlich-3 ICP" if measured in _ICP else test)
        )
    return ModusTest(analyte, test, calculated and analyte.kind == "nutrient", index, matrix=matrix)
