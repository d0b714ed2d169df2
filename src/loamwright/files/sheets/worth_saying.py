"""What a person should know about a file that was read: facts about its units, tests and advice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loamwright.files.sheets.records import LabReading, ManureSample, Sample, SheetContents
from loamwright.soil import read_extractant

_PER_VOLUME = ("mg/L", "meq/100 cm3", "meq/L")


def remarks_on(contents: SheetContents) -> tuple[str, ...]:
    """Return remarks on what was understood, each once."""
    samples = [sample for sample in contents.samples if isinstance(sample, Sample)]
    readings = [
        (element, reading) for sample in samples for element, r in sample.readings.items() for reading in r
    ]
    found = [*_units(readings), *_tests(readings), *_advice(samples)]
    if samples and not any(sample.recommendations for sample in samples):
        found.append("no recommendation came with this file")
    if any(isinstance(sample, ManureSample) and sample.also_printed for sample in contents.samples):
        found.append("an element printed beside its oxide is the same nutrient: they are not added")
    return tuple(dict.fromkeys(found))


def _units(readings: Iterable[tuple[str, LabReading]]) -> Iterator[str]:
    for element, reading in readings:
        if reading.unit == "index":
            yield "index numbers cannot go into a table printed in ppm"
        if reading.unit in _PER_VOLUME:
            yield f"{reading.unit} is per volume of soil: it is not mg/kg, and no table printed in ppm fits"
        if reading.unit == "mg/100 g":
            yield "1 mg/100 g is 10 mg/kg of the same test"
        if reading.basis:
            yield f"{element} is printed as {reading.basis}, not as the element"
        if reading.below is not None:
            yield f"results below a limit are kept as below it ({element} {reading.printed})"
        if reading.derived_from:
            yield f"{element} in {reading.unit} is {reading.derived_from}"


def _tests(readings: Iterable[tuple[str, LabReading]]) -> Iterator[str]:
    for element, reading in readings:
        if (
            reading.extractant
            and read_extractant(reading.extractant) is None
            and element in ("P", "K", "Mg", "Ca", "S", "Zn", "B")
        ):
            yield (
                f"no built-in table is written for {element} by {reading.extractant}: "
                "use the lab's recommendation, or a guideline of your own for that test"
            )


def _advice(samples: Iterable[Sample]) -> Iterator[str]:
    for sample in samples:
        for advice in sample.recommendations:
            amounts = [*advice.amounts.values(), *advice.lime_options]
            if any(amount.low is not None for amount in amounts):
                yield "a recommendation is a range: one number must be chosen"
            if advice.lime_options:
                yield "several lime rates are given, by target pH or use: one must be chosen"
            for name, amount in advice.amounts.items():
                if amount.flag:
                    yield f"{amount.flag!r} for {name} is a flag whose meaning is not in the file"
            for amount in amounts:
                if amount.basis and "NV" in amount.basis.split():
                    yield f"{amount.basis}: NV is on the CaO scale (pure CaCO3 is 56), not CCE"
                elif amount.basis:
                    yield f"lime is recommended as {amount.basis}, not as product"
