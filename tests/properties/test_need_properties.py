"""Properties of needs that hold for any figures: monotone, never negative, in proportion, honest."""

from __future__ import annotations

import datetime as dt

from hypothesis import given, settings
from hypothesis import strategies as st
from need_builders import crop, needs, pounds, report

from loamwright.files.guidelines import load_guideline
from loamwright.needs.classes import classified, parse_span
from loamwright.needs.records import PlotNeeds
from loamwright.soil.records import OrganicInput
from loamwright.values import NeedState, Nutrient, Quantity, Settings

TABLED = ("red clover", "alsike clover", "birdsfoot trefoil", "grass-legume mixture")
crops = st.sampled_from(TABLED)
any_goal = st.floats(1.0, 8.0) | st.none()
ppm = st.floats(0, 400, allow_nan=False)
acres = st.floats(0.01, 50)
tests_of_p = st.sampled_from(["Bray P1", "Olsen"])


@given(crops, st.floats(1.0, 8.0), tests_of_p, st.tuples(ppm, ppm))
def test_a_better_soil_test_never_asks_for_more_phosphate(
    name: str, goal: float, test: str, figures: tuple[float, float]
) -> None:
    poor, good = sorted(figures)
    more, less = (
        pounds(needs([report((figure, test))], crop(name, goal)), "P2O5") for figure in (poor, good)
    )
    assert more is not None
    assert less is not None
    assert more >= less >= 0


@given(crops, st.floats(2.0, 5.0), st.tuples(ppm, ppm))
def test_a_better_soil_test_never_asks_for_more_potash(
    name: str, goal: float, figures: tuple[float, float]
) -> None:
    poor, good = sorted(figures)
    more, less = (
        pounds(needs([report(k=(figure, "ammonium acetate"))], crop(name, goal)), "K2O")
        for figure in (poor, good)
    )
    assert more is not None
    assert less is not None
    assert more >= less >= 0


@given(st.floats(4.0, 5.99), st.tuples(st.floats(6.0, 6.8), st.floats(6.0, 6.8)), st.sampled_from([1, 2]))
def test_a_higher_buffer_index_never_asks_for_more_lime(
    ph: float, buffers: tuple[float, float], region: int
) -> None:
    chosen = Settings(lime_region=f"Area {region}")
    more, less = (
        pounds(
            needs([report(ph=ph, buffer_ph=b, buffer_method="Sikora")], crop("brassica"), settings=chosen),
            "lime",
        )
        for b in sorted(buffers)
    )
    assert more is not None
    assert less is not None
    assert more >= less >= 0


@given(crops, any_goal, ppm, ppm, acres)
def test_doubling_the_area_doubles_the_pounds_and_changes_nothing_else(
    name: str, goal: float | None, p: float, k: float, size: float
) -> None:
    test = report((p, "Bray P1"), (k, "ammonium acetate"), ph=5.5, buffer_ph=6.3, buffer_method="SMP")
    once, twice = (needs([test], crop(name, goal), acres=a) for a in (size, 2 * size))
    for one, two in zip((*once.needs, once.lime), (*twice.needs, twice.lime), strict=True):
        assert (one.state, one.reason, one.rate_kg_ha) == (two.state, two.reason, two.rate_kg_ha)
        if one.mass_kg is None:
            assert two.mass_kg is None
        else:
            assert two.mass_kg is not None
            assert abs(two.mass_kg - 2 * one.mass_kg) <= 1e-9 * max(1.0, two.mass_kg)


@given(
    st.floats(2, 5),
    st.floats(0, 400),
    st.floats(0, 40),
    st.dictionaries(st.sampled_from(["N", "P2O5", "lime ENP"]), st.floats(0, 9000)),
)
def test_credits_are_never_negative_and_never_push_below_zero(
    goal: float, manure_n: float, tons: float, applied: dict[str, float]
) -> None:
    manure = OrganicInput(
        "M1",
        "A",
        dt.date(2025, 10, 1),
        "dairy",
        "injected sweep",
        Quantity(tons, "ton/acre"),
        {Nutrient.N: manure_n, Nutrient.P2O5: manure_n},
    )
    test = report((3, "Bray P1"), ph=5.2, buffer_ph=6.1, buffer_method="Sikora")
    for name in ("grasses for hay and pasture", "red clover"):
        found = needs([test], crop(name, goal), applied=applied, organic=[manure])
        for need in found.needs:
            assert all(credit.rate_kg_ha >= 0 for credit in need.credits)
            if need.rate_kg_ha is not None:
                assert need.gross_kg_ha is not None
                assert 0 <= need.rate_kg_ha <= need.gross_kg_ha
            shares = [share for _, share in need.timings]
            assert not shares or abs(sum(shares) - 1) < 1e-9
        assert found.lime.mass_kg is None or found.lime.mass_kg >= 0


def honest(found: PlotNeeds) -> None:
    """Check that the three states never borrow each other's figures."""
    for need in (*found.needs, found.lime):
        assert need.reason
        if need.state in (NeedState.UNKNOWN, NeedState.TO_DECIDE):
            assert need.rate_kg_ha is None
            assert need.mass_kg is None
        elif need.state is NeedState.NONE:
            assert need.rate_kg_ha == 0.0
            assert need.mass_kg == 0.0
        else:
            assert need.rate_kg_ha is not None
            assert need.rate_kg_ha > 0
            assert need.mass_kg is not None
            assert need.steps[-1].value is not None


@settings(max_examples=200)
@given(
    st.sampled_from([*TABLED, "oats", "brassica", "alfalfa", "sunflower", ""]),
    any_goal,
    st.none() | st.tuples(ppm, st.sampled_from(["Bray P1", "Mehlich-3", "Kelowna"])),
    st.none() | st.tuples(ppm, st.sampled_from(["ammonium acetate", "Mehlich-1"])),
    st.none() | st.floats(3, 9),
    st.none() | st.floats(5, 7.5),
    st.sampled_from([None, "Sikora", "Woodruff"]),
)
def test_unknown_stays_unknown(
    name: str,
    goal: float | None,
    p: tuple[float, str] | None,
    k: tuple[float, str] | None,
    ph: float | None,
    buffer: float | None,
    method: str | None,
) -> None:
    test = report(p, k, ph=ph, buffer_ph=buffer, buffer_method=method)
    found = needs([test], crop(name, goal))
    honest(found)
    phosphate, potash = found.of(Nutrient.P2O5), found.of(Nutrient.K2O)
    assert phosphate is not None
    assert potash is not None
    if p is None or p[1] != "Bray P1" or name not in TABLED:
        assert phosphate.state is NeedState.UNKNOWN
    if k is None or k[1] == "Mehlich-1" or name not in TABLED:
        assert potash.state is NeedState.UNKNOWN
    if ph is None:
        assert found.lime.state is NeedState.UNKNOWN


@given(st.floats(0, 500, allow_nan=False))
def test_every_figure_falls_in_exactly_one_printed_class(figure: float) -> None:
    for table in load_guideline("umn-forage-2011").tables:
        for extractant in table.extractants or ():
            spans = {row.soil[extractant].text: row.soil[extractant] for row in table.rows}.values()
            value = classified(figure, spans)
            assert sum(span.contains(value) for span in spans) == 1


@given(st.floats(0, 1e5), st.floats(0, 1e5))
def test_a_printed_range_is_read_back_as_it_was_written(a: float, b: float) -> None:
    low, high = sorted((round(a, 2), round(b, 2)))
    span = parse_span(f"{low:.2f} to {high:.2f}")
    assert (span.low, span.high) == (low, high)
