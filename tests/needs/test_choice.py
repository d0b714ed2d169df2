"""Several editions for one property: which answers, what it is good for, what is left to the user.

Figures are those of the published tables in ``tests/published/``; plots and reports are invented.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from need_builders import ACRE_M2, LB_KG, TODAY, crop, needs, pounds, report, texts

from loamwright.errors import Level
from loamwright.files import guidelines
from loamwright.files.reference import crop_names
from loamwright.needs.choice import Choice, Chosen, read_chosen, write_chosen
from loamwright.needs.decisions import Decision
from loamwright.needs.records import PlotNeeds
from loamwright.soil.records import Reading
from loamwright.values import NeedState, Nutrient, Settings

NAMES = crop_names()
LB_ACRE = LB_KG / ACRE_M2 * 10_000
OLSEN = report(p=(8, "Olsen"))  # Ontario: 8 to 9 ppm, 70 kg P2O5/ha


def of(found: PlotNeeds, nutrient: str) -> object:
    need = found.of(Nutrient(nutrient))
    assert need is not None
    return need


# ---------------------------------------------------------------------------------------------
# Which edition answers


def test_two_editions_serve_one_crop_and_each_need_names_its_own() -> None:
    """Corn at 100 bu: Oklahoma prints 110 lb N; Ontario 70 kg P2O5/ha at 8 ppm Olsen, 62.45 lb/acre."""
    found = needs([OLSEN], crop("corn", 100, "bu/acre"), guideline="osu-nitrogen; ontario-corn-p2o5")
    nitrogen, phosphate = found.of(Nutrient.N), found.of(Nutrient.P2O5)
    assert nitrogen is not None
    assert phosphate is not None
    assert pounds(found, "N") == pytest.approx(110)
    assert (nitrogen.edition, nitrogen.edition_status) == ("osu-nitrogen", "default")
    assert pounds(found, "P2O5") == pytest.approx(70 / LB_ACRE)
    assert (phosphate.edition, phosphate.edition_status) == ("ontario-corn-p2o5", "selectable")
    assert "selectable: whole, but read in a farm magazine" in texts(phosphate.steps)
    assert any(p.level is Level.NOTE and "farm magazine" in p.what for p in found.problems)


def test_the_first_edition_that_has_a_figure_answers() -> None:
    """Oats after soybeans, 90 bu, 2 percent: both Minnesota editions print 40 lb; Oklahoma prints 100 lb."""
    grown = crop("oats", 90, "bu/acre", previous_crop="soybeans")
    tests = [report(organic_matter_pct=2.0)]
    for order, answer, edition in (
        ("umn-oats; osu-nitrogen", 40, "umn-oats"),
        ("osu-nitrogen; umn-oats", 100, "osu-nitrogen"),
    ):
        found = needs(tests, grown, guideline=order)
        assert pounds(found, "N") == pytest.approx(answer)
        assert found.of(Nutrient.N).edition == edition  # type: ignore[union-attr]
    # After corn the Minnesota page has no row, so the next edition is asked.
    after_corn = crop("oats", 90, "bu/acre", previous_crop="corn")
    assert pounds(needs(tests, after_corn, guideline="umn-oats; osu-nitrogen"), "N") == pytest.approx(100)


def test_a_crop_may_have_its_own_edition() -> None:
    chosen = "umn-oats; oats = osu-nitrogen"
    found = needs([], crop("oats", 90, "bu/acre", previous_crop="soybeans"), guideline=chosen)
    assert pounds(found, "N") == pytest.approx(100)


def test_another_crops_rule_put_in_by_the_user_says_so_on_the_need() -> None:
    """90 bu of oats: 100 lb, as Oklahoma prints; with triticale grown it must not read as triticale's."""
    chosen = "umn-oats; triticale = osu-nitrogen as oats"
    found = needs([], crop("triticale", 90, "bu/acre"), guideline=chosen)
    need = of(found, "N")
    assert pounds(found, "N") == pytest.approx(100)
    assert need.edition_status == "default; the rule for oats, put in by you"
    assert "The rule for oats stands in for triticale" in texts(need.steps)


def test_the_labs_own_figure_still_goes_first() -> None:
    from need_builders import advice

    found = needs(
        [report(recommendation=advice(N=25))], crop("corn", 100, "bu/acre"), guideline="osu-nitrogen"
    )
    assert pounds(found, "N") == pytest.approx(25)
    assert found.of(Nutrient.N).edition_status == "lab"  # type: ignore[union-attr]


def test_soil_nitrate_is_taken_off_where_the_publication_takes_it_off() -> None:
    """Oklahoma: wheat at 50 bu asks 100 lb N; 30 lb nitrate-N in the soil leave 70 lb."""
    nitrate = {"NO3-N": Reading(30, "lb/acre", None, "NO3-N")}
    found = needs([report(readings=nitrate)], crop("wheat", 50, "bu/acre"), guideline="osu-nitrogen")
    assert pounds(found, "N") == pytest.approx(70)
    without = needs([report()], crop("wheat", 50, "bu/acre"), guideline="osu-nitrogen")
    assert pounds(without, "N") == pytest.approx(100)
    assert "No nitrate-N taken off" in texts(without.of(Nutrient.N).steps)  # type: ignore[union-attr]


def test_a_rate_of_the_element_is_brought_to_the_oxide() -> None:
    """Ireland, winter wheat, P index 1: 36 units P/acre x 1.25 = 45 kg P/ha x 2.2914 = 103.1 kg P2O5/ha."""
    morgan = {"P": Reading(2.0, "mg/l", "Morgan", "P")}
    found = needs([report(readings=morgan)], crop("winter wheat", None), guideline="ireland-2022")
    need = found.of(Nutrient.P2O5)
    assert need is not None
    assert need.rate_kg_ha == pytest.approx(36 * 1.25 * 2.2914, rel=1e-4)
    assert "36" in texts(need.steps)


# ---------------------------------------------------------------------------------------------
# Ranges, maxima, classes


def test_a_printed_range_is_left_to_the_user_and_shown_with_its_ends() -> None:
    grown = crop("Deer/Turkey", None)
    need = needs([], grown, guideline="nc-wildlife-2014").of(Nutrient.N)
    assert need is not None
    assert (need.state, need.mass_kg) == (NeedState.TO_DECIDE, None)
    assert need.between_kg_ha == (0.0, pytest.approx(60 * LB_ACRE))
    assert need.edition == "nc-wildlife-2014"

    made = Decision("D1", "A", 2026, "N", "clover in it", TODAY, rate_kg_ha=20 * LB_ACRE)
    decided = needs([], grown, guideline="nc-wildlife-2014", decisions=[made])
    assert pounds(decided, "N") == pytest.approx(20)
    need = decided.of(Nutrient.N)
    assert need is not None
    assert need.edition == "nc-wildlife-2014"
    assert "20 lb/acre, where 0 to 60 lb/acre is published (clover in it)" in texts(need.steps)

    half = replace(made, rate_kg_ha=None, share=0.5)  # of what?
    need = needs([], grown, guideline="nc-wildlife-2014", decisions=[half]).of(Nutrient.N)
    assert need is not None
    assert need.state is NeedState.TO_DECIDE
    assert "50% was decided, but no one figure is published: decide an amount" in need.reason


def test_a_maximum_in_law_makes_no_need_and_warns_of_one_that_is_over_it() -> None:
    """Index 3 (30 mg/l): Northern Ireland allows 30 kg P2O5/ha at establishment, none extensively managed."""
    olsen = {"P": Reading(30, "mg/l", "Olsen", "P")}
    alone = needs(
        [report(readings=olsen)], crop("grass establishment", None), guideline="ni-grass-maximum-2019"
    )
    assert alone.of(Nutrient.P2O5).state is NeedState.UNKNOWN  # type: ignore[union-attr]
    (said,) = [p for p in alone.problems if "legal maximum of" in p.what]
    assert (said.level, "30 kg P2O5/ha" in said.what) == (Level.NOTE, True)
    silage = {"P": Reading(12, "mg/l", "Olsen", "P")}  # index 1: England and Wales print 70 for a first cut
    over = needs(
        [report(readings=silage)],
        crop("first-cut silage", None),
        guideline="uk-silage-2010; ni-grass-maximum-2019; "
        "first-cut silage = ni-grass-maximum-2019 as first cut silage, extensively managed",
    )
    assert pounds(over, "P2O5") == pytest.approx(70 / LB_ACRE)
    (said,) = [p for p in over.problems if "legal maximum of" in p.what]
    assert said.level is Level.WARNING  # 55 kg/ha is the maximum at index 1
    assert "55 kg P2O5/ha" in said.what
    assert "the need is more" in said.what


def test_classes_alone_name_the_figure_and_make_no_need() -> None:
    """Delaware calls 34 ppm P by Mehlich-3 medium (26-50)."""
    found = needs([report(p=(34, "Mehlich-3"))], crop("oats", None), guideline="delaware-classes")
    need = found.of(Nutrient.P2O5)
    assert need is not None
    assert need.state is NeedState.UNKNOWN
    assert "Delaware soil test classes call it Medium" in need.reason


# ---------------------------------------------------------------------------------------------
# Names


@pytest.mark.parametrize(
    ("written", "edition", "meant"),
    [
        ("ladino", "removal-wider", "clovers"),
        ("Ladino Clover", "removal-yearly", "clovers"),
        ("winter rye", "removal-wider", "rye"),
        ("cereal rye", "removal-yearly", "rye"),
        ("lucerne", "clemson-matrix", "alfalfa"),
        ("milo", "osu-nitrogen", "grain sorghum"),
        ("maize", "ontario-corn-p2o5", "corn"),
        ("cocksfoot", "removal-yearly", "orchardgrass"),
        ("smooth brome", "removal-yearly", "bromegrass"),
        ("winter wheat", "osu-nitrogen", "wheat"),
        ("oilseed rape", "osu-nitrogen", "canola"),
    ],
)
def test_another_name_of_the_same_crop_is_taken(written: str, edition: str, meant: str) -> None:
    (asked,) = Choice((guidelines.load_guideline(edition),), {}, NAMES).asked(written)
    assert asked.crop is not None
    assert asked.crop.name == meant


@pytest.mark.parametrize(
    ("written", "edition"),
    [
        ("wheat", "ireland-2022"),  # winter wheat says more
        ("barley", "ireland-2022"),
        ("rye", "norway-nibio"),
        ("rape", "osu-nitrogen"),  # forage rape is no canola, though the species is one
        ("annual rye", "removal-wider"),  # a ryegrass
        ("white clover", "umn-forage-2011"),  # no red clover
        ("clover", "umn-forage-2011"),
        ("fescue", "removal-wider"),  # may be a fine fescue
        ("sudangrass", "removal-wider"),
    ],
)
def test_a_neighbour_crop_is_never_taken(written: str, edition: str) -> None:
    (asked,) = Choice((guidelines.load_guideline(edition),), {}, NAMES).asked(written)
    assert asked.crop is None


def test_no_name_stands_for_two_crops() -> None:
    every = [name for crop_name in NAMES.crops for name in crop_name.every]
    assert len(every) == len(set(every))


def test_names_of_one_crop_agree_with_published_lists() -> None:
    """Iowa State University Extension, Types of Cover Crops (names and species); Purdue University, NewCROP,
    White clover: "White clover; Ladino clover, Trifolium repens"."""
    published = {
        "oats": "Avena sativa",
        "teff": "Eragrostis tef",
        "annual rye": "Lolium multiflorum",
        "winter wheat": "Triticum aestivum",
        "winter barley": "Hordeum vulgare",
        "cereal rye": "Secale cereale",
        "crimson clover": "Trifolium incarnatum",
        "red clover": "Trifolium pratense",
        "white clover": "Trifolium repens",
        "ladino clover": "Trifolium repens",
        "cowpea": "Vigna unguiculata",
        "hairy vetch": "Vicia villosa",
        "buckwheat": "Fagopyrum esculentum",
        "rapeseed": "Brassica napus",
        "field turnip": "Brassica rapa",
        "oilseed radish": "Raphanus sativus",
        "field peas": "Pisum sativum",
    }
    for name, species in published.items():
        found = NAMES.of(name)
        assert found is not None, name
        assert found.botanical == species, name


@pytest.mark.parametrize(
    ("written", "parts"),
    [
        ("deer mix: clover + chicory", ("clover", "chicory")),
        ("oats-peas", ("oats", "peas")),
        ("clover-chicory", ("clover", "chicory")),
        ("oats, peas and turnips mix", ("oats", "peas", "turnips")),
        ("rape with radish", ("rape", "radish")),
        ("red clover", ()),
        ("bird's-foot trefoil", ()),
        ("sorghum-sudan", ()),
        ("grass-legume mixture", ("grass", "legume")),
        ("", ()),
    ],
)
def test_a_mixture_is_cut_into_its_parts(written: str, parts: tuple[str, ...]) -> None:
    assert NAMES.parts(written) == parts


def test_a_mixture_asks_which_rule_governs_and_takes_the_answer() -> None:
    tests = [report(readings={"P": Reading(30, "NC index", None, "P")}, texture="mineral")]
    grown = crop("deer mix: clover + chicory", None)
    asks = needs(tests, grown, guideline="nc-wildlife-2014; removal-wider")
    (said,) = [p for p in asks.problems if "a mixture of clover and chicory" in p.what]
    assert "clovers of removal-wider" in said.fix
    assert "= EDITION as CROP" in said.fix
    assert asks.of(Nutrient.P2O5).state is NeedState.UNKNOWN  # type: ignore[union-attr]
    told = "nc-wildlife-2014; deer mix: clover + chicory = nc-wildlife-2014 as Deer/Turkey"
    assert pounds(needs(tests, grown, guideline=told), "P2O5") == pytest.approx(77.94)


def test_grass_with_legume_points_to_a_rule_for_mixtures() -> None:
    found = needs([], crop("orchardgrass + red clover", None))
    (said,) = [p for p in found.problems if "a mixture of" in p.what]
    assert "grass-legume mixture of umn-forage-2011" in said.fix
    assert "red clover of umn-forage-2011" in said.fix


def test_a_near_spelling_is_suggested_and_not_taken() -> None:
    found = needs([], crop("red clovr", None))
    (said,) = [p for p in found.problems if "does not name 'red clovr'" in p.what]
    assert "Was red clover meant?" in said.fix
    assert found.of(Nutrient.N).state is NeedState.UNKNOWN  # type: ignore[union-attr]


# ---------------------------------------------------------------------------------------------
# The setting as text


def test_the_setting_is_read_and_written_back() -> None:
    text = "nc-wildlife-2014; umn-forage-2011; deer mix: a + b = nc-wildlife-2014 as Deer/Turkey"
    entries = read_chosen(text)
    assert entries == (
        Chosen("nc-wildlife-2014"),
        Chosen("umn-forage-2011"),
        Chosen("nc-wildlife-2014", "deer mix: a + b", "Deer/Turkey"),
    )
    assert write_chosen(entries) == text
    assert read_chosen(" ; ") == ()


@pytest.mark.parametrize(
    ("setting", "offending"),
    [
        ("wisconsin", "'wisconsin'"),
        ("", "no guideline is named"),
        ("oats = osu-nitrogen", "no guideline is named for crops in general"),
        ("umn-oats; mix = nc-wildlife-2014 as Elk", "does not name 'Elk'"),
    ],
)
def test_a_setting_that_cannot_be_used_is_refused_with_the_offending_word(
    setting: str, offending: str
) -> None:
    from loamwright.errors import InputError

    with pytest.raises(InputError, match=offending):
        guidelines.load_choice(setting)


def test_an_unknown_depth_rule_is_refused() -> None:
    from loamwright.errors import InputError

    with pytest.raises(InputError, match=r"'quarter'.*half, in proportion, as printed"):
        guidelines.load_lime_guideline("umn-wildlife-lime; depth = quarter")


# ---------------------------------------------------------------------------------------------
# Fifty ordinary names

#: What a full report would carry: every soil test the editions ask for, so that only the tables decide.
FIFTY = Path(__file__).parents[1] / "published" / "fifty_crop_names.csv"


def test_fifty_ordinary_names_get_what_the_readme_says() -> None:
    from crop_coverage import coverage, rows_of_readme

    with FIFTY.open(encoding="utf-8") as handle:
        names = [row["crop"] for row in csv.DictReader(handle)]
    assert len(names) == len(set(names)) == 50
    assert rows_of_readme() == [coverage(name) for name in names]


def test_fewer_than_half_of_fifty_names_are_left_without_any_figure_or_range() -> None:
    """Before the further editions 44 of 50 got nothing, 5 got N, P and K, 1 got N alone."""
    from crop_coverage import coverage

    with FIFTY.open(encoding="utf-8") as handle:
        found = [coverage(row["crop"]) for row in csv.DictReader(handle)]
    assert sum(1 for row in found if row.nitrogen == row.phosphate == row.potash == "–") < 25
    defaults = Settings()
    assert defaults.guideline == "umn-forage-2011"
