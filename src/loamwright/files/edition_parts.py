"""What every section of a guideline edition shares: crops, nutrient, source, soil test, units.

`Parts` reads them from a section of ``guideline.toml`` and reports what it cannot read. What the rules are is
`edition_tables`' and `editions`' business.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from loamwright.errors import UnitError
from loamwright.files.sections import Report, Section
from loamwright.needs import Crop, Region
from loamwright.soil import RATE_UNITS_KG_HA, SOIL_UNITS, Buffer, Extractant, read_buffer, read_extractant
from loamwright.units import convert
from loamwright.values import Nutrient, Source

MAIN_FILE = "guideline.toml"
#: Unit of a yield that is counted, not weighed.
CUTTINGS = "cuttings"

_RATE_UNITS = tuple(RATE_UNITS_KG_HA)
#: Element that a soil test reports for an oxide.
ELEMENT_OF = {Nutrient.P2O5: "P", Nutrient.K2O: "K"}


class Parts:
    """Reads the parts that sections share.

    Parameters
    ----------
    folder
        The edition's folder; its name is the edition's id.
    data
        What ``guideline.toml`` holds.
    report
        Collects the problems.
    """

    def __init__(self, folder: Path, data: Mapping[str, object], report: Report) -> None:
        self.folder, self.report = folder, report
        self.main = Section(data, f"{folder.name}/{MAIN_FILE}", report)
        self.crop_names: tuple[str, ...] = ()
        self.lists_crops = self.main.has("crop")
        self.aliases: dict[str, tuple[str, ...]] = {}

    def _crop(self, section: Section) -> Crop:
        crop = Crop(section.text("name", None), section.texts("aliases"), section.number("target_ph", "pH"))
        section.done()
        return crop

    def _region(self) -> Region:
        found = self.main.sections("region")
        if not found:
            self.report.error(f"{self.main.where}, region", "it is missing", 'Add [region] with name = "…"')
            return Region("")
        box = found[0].numbers("box", 4)
        region = Region(found[0].text("name", None), (box[0], box[1], box[2], box[3]) if box else None)
        found[0].done()
        return region

    def _source(self, section: Section) -> Source:
        return Source(section.text("publication", None), section.text("edition"), section.text("table"))

    def _crops(self, section: Section, *, required: bool = True) -> tuple[str, ...]:
        crops = section.texts("crops")
        where = f"{section.where}, crops"
        if required and not crops:
            self.report.error(where, "no crop is named", 'Add crops = ["…"]')
        self._check_crops(where, crops)
        return crops

    def _check_crops(self, where: str, crops: Sequence[str]) -> None:
        for crop in crops:
            if crop in self.crop_names:
                continue
            if self.lists_crops:
                self.report.error(
                    where, f"{crop!r} is not in the [[crop]] list", "Add it there, or correct it"
                )
            else:  # without a list, the crops are those its tables name
                self.crop_names = (*self.crop_names, crop)

    def _nutrient(self, section: Section) -> Nutrient:
        value = section.choice("nutrient", [n.value for n in Nutrient], None)
        return Nutrient(value) if value else Nutrient.N

    def _test(self, where: str, text: str) -> Extractant | None:
        name = read_extractant(text)
        if name is None:
            self.report.error(
                where, f"the soil test {text!r} is not known", f"Known: {', '.join(Extractant)}"
            )
        return name

    def _assumed(self, section: Section) -> dict[Extractant, str]:
        result = {}
        for text, remark in section.mapping("assumed").items():
            name = self._test(f"{section.where}, assumed", text)
            if name is not None:
                result[name] = str(remark)
        return result

    def _buffers(self, section: Section) -> tuple[Buffer, ...]:
        names, where = [], f"{section.where}, buffers"
        for text in section.texts("buffers"):
            name = read_buffer(text)
            if name is None:
                self.report.error(where, f"the buffer {text!r} is not known", f"Known: {', '.join(Buffer)}")
            else:
                names.append(name)
        if not names and not section.texts("buffers"):
            self.report.error(where, "no buffer is named", 'Add buffers = ["Sikora"]')
        return tuple(names)

    def _yield_unit(self, section: Section) -> str:
        unit = section.text("yield_unit")
        if unit:
            self._check_yield_unit(f"{section.where}, yield_unit", unit)
        return unit

    def _check_yield_unit(self, where: str, unit: str) -> None:
        if unit == CUTTINGS:
            return
        try:
            convert(1.0, unit.replace("bu/", "lb/"), "kg/ha")
        except UnitError:
            self.report.error(
                where, f"{unit!r} is not a yield per area", "Write for example ton/acre or bu/acre"
            )

    def _rate_unit(self, section: Section) -> str:
        return section.choice("rate_unit", _RATE_UNITS, "lb/acre") or "lb/acre"

    def _rate_basis(self, section: Section, nutrient: Nutrient) -> str:
        """Read whether rates are of the element; empty = of the nutrient as labels name it."""
        element = ELEMENT_OF.get(nutrient)
        return section.choice("rate_basis", [element] if element else [nutrient.value], "")

    def _soil_unit(self, section: Section) -> str:
        return section.choice("soil_unit", SOIL_UNITS, "ppm") or "ppm"

    def _extractants(self, section: Section) -> tuple[Extractant, ...]:
        where = f"{section.where}, extractants"
        names = (self._test(where, text) for text in section.texts("extractants"))
        if not section.texts("extractants"):
            self.report.error(where, "no soil test is named", 'Add ["Mehlich-3"]')
        return tuple(name for name in names if name is not None)
