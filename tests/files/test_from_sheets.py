"""What a lab, dealer or quarry sent, into a property: questions first, then the figures as printed.

The sheets are invented; what is expected is read off them by eye.
"""

from __future__ import annotations

import csv
import datetime as dt
import time
from pathlib import Path

import pytest
from places import box, polygon

from loamwright import files, season, upkeep
from loamwright.errors import InputError
from loamwright.files import guidelines
from loamwright.files.intake import import_files
from loamwright.land import Cropping, Plot
from loamwright.needs.lime_rules import LimeCase
from loamwright.supplies import Form, LimeLabel, Movement, Product
from loamwright.values import Nutrient, PropertyInfo

TODAY = dt.date(2026, 5, 4)
ACETATE_K, ACETATE_CA = "K ppm (ammonium acetate)", "Ca meq/100g (ammonium acetate)"
HEAD = ("Sample ID", "Date sampled", "Depth", "pH", "P Bray P1 ppm")
LB_ACRE = ("lb N/A", "lb P2O5/A", "lb K2O/A")
PLOTS = (("P1", "Creek Bottom"), ("P2", "Long Strip"), ("P3", "Chalk"))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "fields.gpkg"
    files.create(path, PropertyInfo("Sheets", 2026))
    with files.edit(path) as editor:
        editor.put_plots(
            Plot(name, called, polygon(box(200 * i, 0, 200 * i + 100, 100)))
            for i, (name, called) in enumerate(
                (("P1", "Creek Bottom"), ("P2", "Long Strip"), ("P3", "Chalk"))
            )
        )
        editor.put_croppings([Cropping("P1", 2026, "alfalfa"), Cropping("P2", 2026, "oats")])
    return path


def write(path: Path, rows: list[list[str]]) -> Path:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    return path


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """An invented report: two tests of P, Ca by charge, no date, no depth, one label spelled nearly right."""
    rows = [
        ["Willow Lab (invented)"],
        ["Field", "Lab No", "pH", "SMP Buffer", "Bray P1 ppm", "Olsen P ppm", ACETATE_K, ACETATE_CA],
        ["creek-bottom", "501", "6.1", "6.6", "12", "7", "88", "5.4"],
        ["Long Stripe", "502", "7.4", "", "31", "19", "140", "17.9"],
    ]
    return write(tmp_path / "willow.csv", rows)


def questions(path: Path, file: Path, **answers: str) -> dict[str, tuple[str, ...]]:
    with pytest.raises(InputError) as refused:
        import_files(path, [file], answers={name.replace("__", "."): text for name, text in answers.items()})
    return {problem.question: problem.choices for problem in refused.value.problems if problem.question}


def test_what_a_sheet_does_not_tell_is_asked_all_at_once_and_nothing_is_stored(
    path: Path, sheet: Path
) -> None:
    before = path.read_bytes()
    asked = questions(path, sheet)
    assert set(asked) == {"sampled", "depth", "use.P", "plot.longstripe"}
    assert asked["use.P"] == ("Bray P1", "Olsen")
    assert asked["plot.longstripe"][0] == "P2"  # a near spelling is offered, never taken
    assert path.read_bytes() == before


def test_a_preview_says_the_same_and_does_not_refuse(path: Path, sheet: Path) -> None:
    found = import_files(path, [sheet], preview=True)
    assert {problem.question for problem in found.problems if problem.question} == {
        *("sampled", "depth", "use.P", "plot.longstripe")
    }
    assert found.sheets[0].lab == "Willow Lab (invented)"
    assert files.load(path).soil_tests == ()


ANSWERS = {"sampled": "2026-04-02", "depth": "0-6 in", "use.P": "Bray P1", "plot.longstripe": "P2"}


def test_answered_it_goes_to_the_plots_as_printed(path: Path, sheet: Path) -> None:
    found = import_files(path, [sheet], answers=ANSWERS, check=lambda r: season.worked_out(r, TODAY))
    first, second = files.load(path).soil_tests
    assert (first.test_id, first.plot_id, second.plot_id) == ("501", "P1", "P2")
    assert (first.sampled_on, first.lab) == (dt.date(2026, 4, 2), "Willow Lab (invented)")
    assert (first.depth_top_m, first.depth_bottom_m) == (0, pytest.approx(6 * 0.0254))
    assert (first.ph, first.buffer_ph, first.buffer_method) == (6.1, 6.6, "SMP")
    p, k, ca = (first.readings[name] for name in ("P", "K", "Ca"))
    assert (p.value, p.unit, p.extractant) == (12, "ppm", "Bray P1")
    assert (k.value, k.extractant) == (88, "ammonium acetate")
    assert (ca.value, ca.unit) == (5.4, "meq/100 g")  # kept as printed
    assert found.taken == ("willow.csv: 2 soil tests",)


def test_the_next_sheet_of_the_lab_asks_nothing_but_the_day(path: Path, sheet: Path, tmp_path: Path) -> None:
    first = import_files(path, [sheet], answers=ANSWERS)
    profile = tmp_path / "willow.json"
    assert first.profile is not None
    files.save_profile(profile, first.profile)
    sheet.write_text(sheet.read_text().replace("501", "601").replace("502", "602"))
    kept = files.load_profile(profile)
    with pytest.raises(InputError) as refused:
        import_files(path, [sheet], profile=kept)
    assert [problem.question for problem in refused.value.problems if problem.question] == ["sampled"]
    import_files(path, [sheet], profile=kept, answers={"sampled": "2027-04-02"})
    assert [test.plot_id for test in files.load(path).soil_tests] == ["P1", "P2", "P1", "P2"]


def test_an_answer_nobody_asked_for_and_one_that_is_none_are_refused(path: Path, sheet: Path) -> None:
    with pytest.raises(InputError, match=r"no question is called fertility"):
        import_files(path, [sheet], answers=ANSWERS | {"fertility": "good"})
    asked = questions(
        path, sheet, use__P="Morgan", sampled="2026-04-02", depth="0-6 in", plot__longstripe="P2"
    )
    assert set(asked) == {"use.P"}


def test_a_label_of_no_plot_is_left_out_and_said(path: Path, sheet: Path) -> None:
    answers = ANSWERS | {"plot.longstripe": "no plot of this property"}
    found = import_files(path, [sheet], answers=answers)
    assert [test.test_id for test in files.load(path).soil_tests] == ["501"]
    assert any("'Long Stripe' is of no plot" in problem.what for problem in found.problems)


@pytest.mark.parametrize("answer", ["p2", "LONG STRIP", "long-strip"])
def test_a_plot_is_answered_by_its_id_or_name_however_it_is_written(
    path: Path, sheet: Path, answer: str
) -> None:
    import_files(path, [sheet], answers=ANSWERS | {"plot.longstripe": answer})
    assert [test.plot_id for test in files.load(path).soil_tests] == ["P1", "P2"]


def test_a_label_of_no_plot_is_remembered_and_a_plot_of_that_name_wins(
    path: Path, sheet: Path, tmp_path: Path
) -> None:
    first = import_files(path, [sheet], answers=ANSWERS | {"plot.longstripe": "no plot of this property"})
    day = {"sampled": "2027-04-02"}
    again = import_files(path, [sheet], profile=first.profile, answers=day)
    assert any("'Long Stripe' is of no plot" in problem.what for problem in again.problems)
    with files.edit(path) as editor:
        editor.put_plots([Plot("P4", "Long Stripe", polygon(box(800, 0, 900, 100)))])
    import_files(path, [sheet], profile=first.profile, answers=day)
    assert files.load(path).soil_tests[-1].plot_id == "P4"


def test_a_kept_choice_of_the_labs_crop_holds_while_the_same_crop_grows(path: Path, tmp_path: Path) -> None:
    rows = [
        [*HEAD, "Crop A", "Phosphate", "Crop B", "Phosphate"],
        [*("" for _ in range(6)), LB_ACRE[1], "", LB_ACRE[1]],
        ["P1", "2026-04-02", "0-6 in", "6.5", "12", "Legume hay", "40", "Small grain", "30"],
    ]
    file = write(tmp_path / "rates.csv", rows)
    first = import_files(path, [file], answers={"advice.p1": "Legume hay", "no-k": "not tested"})
    assert first.profile is not None
    assert import_files(path, [file], profile=first.profile).taken
    with files.edit(path) as editor:
        editor.put_croppings([Cropping("P1", 2026, "oats")])
    with pytest.raises(InputError, match="oats grows there"):
        import_files(path, [file], profile=first.profile)


def test_rates_that_are_said_to_fit_what_grows_are_of_that_crop(path: Path, tmp_path: Path) -> None:
    """The failing case: "Bermudagrass hay" was chosen for bermudagrass, and its rates were not used."""
    rows = [
        [*HEAD, "Crop", "Phosphate"],
        [*("" for _ in range(6)), LB_ACRE[1]],
        ["P1", "2026-04-02", "0-6 in", "6.5", "12", "Bermudagrass hay", "40"],
    ]
    file = write(tmp_path / "rates.csv", rows)
    with files.edit(path) as editor:
        editor.put_croppings([Cropping("P1", 2026, "bermudagrass")])
    import_files(path, [file], answers={"advice.p1": "Bermudagrass hay", "no-k": "not tested"})
    assert files.load(path).soil_tests[-1].rates_crop == "bermudagrass"


def test_two_samples_of_one_plot_of_which_one_is_not_are_asked_for(path: Path, tmp_path: Path) -> None:
    rows = [[*HEAD], *([name, "2026-04-02", "0-6 in", "6.5", "12"] for name in ("P1", "Creek Bottom"))]
    file = write(tmp_path / "twins.csv", rows)
    twice = {"no-k": "not tested", "plot.p1.twice": "one is of another plot"}
    named = {name.replace(".", "__"): text for name, text in twice.items()}
    assert set(questions(path, file, **named)) == {"plot.p1", "plot.creekbottom"}
    import_files(path, [file], answers=twice | {"plot.p1": "P1", "plot.creekbottom": "P2"})
    assert [test.plot_id for test in files.load(path).soil_tests] == ["P1", "P2"]


def test_sulfur_without_a_test_is_asked_about_and_nitrate_needs_none(path: Path, tmp_path: Path) -> None:
    rows = [
        [*HEAD, "K Mehlich-3 ppm", "SO4-S ppm", "NO3-N ppm"],
        ["P1", "2026-04-02", "0-6 in", "6.5", "12", "90", "7", "11"],
    ]
    file = write(tmp_path / "sulfur.csv", rows)
    assert set(questions(path, file)) == {"test.S"}
    import_files(path, [file], answers={"test.S": "not known"})
    (test,) = files.load(path).soil_tests
    assert "S" not in test.readings
    assert (test.readings["NO3-N"].value, test.readings["NO3-N"].extractant) == (11, None)


@pytest.mark.parametrize(
    ("answer", "basis"), [("nitrate-N", "NO3-N"), ("nitrate itself", "NO3"), ("not known", None)]
)
def test_no3_without_its_n_is_asked_about(answer: str, basis: str | None, path: Path, tmp_path: Path) -> None:
    rows = [[*HEAD, "K Mehlich-3 ppm", "NO3 ppm"], ["P1", "2026-04-02", "0-6 in", "6.5", "12", "90", "11"]]
    file = write(tmp_path / "nitrate.csv", rows)
    assert questions(path, file) == {"basis.no3": ("nitrate-N", "nitrate itself", "not known")}
    import_files(path, [file], answers={"basis.no3": answer})
    (test,) = files.load(path).soil_tests
    kept = test.readings.get("NO3-N")
    assert (kept and (kept.value, kept.basis)) == (basis and (11, basis))


def test_north_carolinas_ac_comes_to_its_lime(path: Path, tmp_path: Path) -> None:
    """NCDA&CS, note under the buffer table: Ac 1.2 is 4 for each unit below 6.6, so that the buffer was 6.3.

    Lime 1.2 × (6.0 − 5.0) / (6.6 − 5.0) = 0.75 ton/acre, as lime.
    """
    rows = [
        ["Sample ID", "Date sampled", "Depth", "pH", "Ac meq/100 cm3", "P Mehlich-3 ppm", "K Mehlich-3 ppm"],
        ["P1", "2026-04-02", "0-8 in", "5.0", "1.2", "12", "90"],
    ]
    file = write(tmp_path / "ac.csv", rows)
    assert questions(path, file) == {"acidity": ("North Carolina's Ac", "another laboratory's acidity")}
    found = import_files(path, [file], answers={"acidity": "North Carolina's Ac"})
    assert any("6.6 - 1.2 / 4 = 6.3" in problem.what for problem in found.problems)
    (test,) = files.load(path).soil_tests
    assert (test.buffer_ph, test.buffer_method) == (6.3, "NCDA")
    (rule,) = guidelines.load_guideline("ncda-lime").lime
    assert rule.rate(LimeCase((test,))).value == pytest.approx(0.75)
    kept = import_files(path, [file], answers={"acidity": "another laboratory's acidity"}, preview=True)
    assert any("acidity in meq/100 cm3 is left out" in problem.what for problem in kept.problems)


def test_a_slice_of_which_no_figure_is_kept_here_stops_nothing(path: Path) -> None:
    """Chloride is of 0 to 24 inches there, the rest of 0 to 6 and of 6 to 24."""
    file = Path(__file__).parent / "sheets" / "variants" / "nitrate_two_depths.csv"
    found = import_files(path, [file], answers={"plot.wedge": "P1", "plot.bench": "P2"})
    readings = [test.readings for test in files.load(path).soil_tests]
    assert [(one["NO3-N"].value, one["P"].value) for one in readings] == [(12, 9), (8, 17)]
    assert any("Cl is left out" in problem.what for problem in found.problems)


def test_an_answer_that_names_no_plot_keeps_the_question_open(path: Path, sheet: Path) -> None:
    """A mistyped answer must not drop a sample without a word."""
    asked = questions(
        path, sheet, **{k.replace(".", "__"): v for k, v in ANSWERS.items()} | {"plot__longstripe": "P9"}
    )
    assert set(asked) == {"plot.longstripe"}
    assert files.load(path).soil_tests == ()


def test_a_badly_worded_answer_is_told_as_that(path: Path, sheet: Path) -> None:
    """The file can be read; only the day cannot."""
    with pytest.raises(InputError, match=r"'spring' is no answer to the question sampled"):
        import_files(path, [sheet], answers=ANSWERS | {"sampled": "spring"})


def test_a_preview_shows_the_figures_that_would_come(path: Path, sheet: Path) -> None:
    found = import_files(path, [sheet], answers=ANSWERS, preview=True)
    new = {one.name: {f: then for f, _now, then in one.fields} for one in found.differences}
    assert new["501"]["ph"] == "6.1"
    assert new["501"]["buffer_method"] == "SMP"


def test_a_salt_ph_a_deeper_slice_and_a_limit(path: Path, tmp_path: Path) -> None:
    rows = [
        ["Sample ID", "Lab No", "Depth", "Date sampled", "pH (CaCl2)", "P Mehlich-3 ppm", "K Mehlich-3 ppm"],
        ["P1", "1", "0-8 in", "2026-04-02", "5.4", "<2", "90"],
        ["P1", "2", "8-24 in", "2026-04-02", "5.9", "4", "60"],
    ]
    file = write(tmp_path / "deep.csv", rows)
    assert set(questions(path, file)) == {"limits"}
    found = import_files(path, [file], answers={"limits": "take the limit itself"})
    (test,) = files.load(path).soil_tests
    assert test.ph is None  # a salt pH is another figure, not a pH in water
    assert test.readings["P"].value == 2
    told = " ".join(problem.what for problem in found.problems)
    assert "CaCl2 is left out" in told
    assert "8–24" in told


def test_the_labs_rates_go_with_the_crop_that_grows_there(path: Path, tmp_path: Path) -> None:
    rows = [
        [*HEAD, "Crop A", "Nitrogen", "Phosphate", "Potash", "Crop B", "Nitrogen", "Phosphate", "Potash"],
        [*("" for _ in range(6)), *LB_ACRE, "", *LB_ACRE],
        ["P1", "2026-04-02", "0-6 in", "6.5", "12", "Alfalfa", "0", "40", "120", "Oats", "60", "30", "40"],
        ["P2", "2026-04-02", "0-6 in", "6.5", "12", "Alfalfa", "0", "45", "125", "Oats", "65", "35", "45"],
    ]
    file = write(tmp_path / "rates.csv", rows)
    asked = {
        problem.question: problem.choices[0]
        for problem in import_files(path, [file], preview=True).problems
        if problem.question and not problem.question.startswith("advice")
    }
    import_files(path, [file], answers=asked)
    first, second = files.load(path).soil_tests
    assert first.recommendation is not None
    assert second.recommendation is not None
    assert {n.value: q.value for n, q in first.recommendation.rates.items()} == {
        "N": 0,
        "P2O5": 40,
        "K2O": 120,
    }
    assert {n.value: q.value for n, q in second.recommendation.rates.items()} == {
        "N": 65,
        "P2O5": 35,
        "K2O": 45,
    }
    assert (first.rates_crop.casefold(), second.rates_crop.casefold()) == ("alfalfa", "oats")
    assert (first.rates_season, first.recommendation.rates[Nutrient.K2O].unit) == (2026, "lb/acre")


def test_prices_as_a_dealer_writes_them(path: Path, tmp_path: Path) -> None:
    rows = [
        ["Hilltop Supply (invented)"],
        ["Product", "Analysis", "Package", "Price", "Per"],
        ["Urea", "46-0-0", "bulk", "$612.00", "ton"],
        ["19-19-19", "19-19-19", "50 lb", "$24.99", "bag"],
    ]
    file = write(tmp_path / "prices.csv", rows)
    import_files(path, [file])
    record = files.load(path)
    urea, mixed = record.offers
    assert (float(urea.price), round(urea.package_kg, 3)) == (612.00, round(2000 * 0.45359237, 3))
    assert (float(mixed.price), round(mixed.package_kg, 4)) == (24.99, round(50 * 0.45359237, 4))
    assert record.products[0].analysis_pct[Nutrient.N] == 46
    assert urea.seller == "Hilltop Supply (invented)"


def test_a_liquid_of_a_price_sheet_comes_in_as_one(path: Path, tmp_path: Path) -> None:
    rows = [["Product", "Grade", "Price", "Unit"], ["UAN 28", "28-0-0", "3.10", "gal"]]
    file = write(tmp_path / "prices.csv", rows)
    with pytest.raises(InputError) as refused:
        import_files(path, [file])
    assert {problem.question for problem in refused.value.problems} == {"density.uan-28"}
    import_files(path, [file], answers={"density.uan-28": "10.67 lb/gal"})
    record = files.load(path)
    assert record.products[0].form is Form.LIQUID
    # a gallon of 10.67 lb
    assert record.offers[0].package_kg == pytest.approx(10.67 * 0.45359237)


TICKETS = [
    ["Stone Hollow Quarry (invented)"],
    ["Ticket", "Date", "Product", "Net tons", "Field"],
    ["9001", "2026-04-09", "Ag lime", "12.5", "Creek Bottom"],
    ["9002", "2026-04-09", "Ag lime", "11.25", "Creek Bottom"],
    ["9003", "2026-04-10", "Ag lime", "8", "Chalk"],
]


def test_scale_tickets_are_purchases_and_when_spread_entries(path: Path, tmp_path: Path) -> None:
    with files.edit(path) as editor:
        editor.put_products([Product("Ag lime", Form.LIME, lime=LimeLabel(ecce_pct=60.0))])
    file = write(tmp_path / "tickets.csv", TICKETS)
    asked = questions(path, file)
    assert asked["spread"] == ("yes, on the day of each ticket", "not yet")
    before = {name: choices[0] for name, choices in asked.items()}
    import_files(path, [file], answers=before)
    record = files.load(path)
    assert [(one.kind, one.count) for one in record.purchases] == [
        (Movement.BOUGHT, pytest.approx(tons)) for tons in (12.5, 11.25, 8)
    ]
    assert [(one.plot_id, one.applied_on) for one in record.applications] == [
        ("P1", dt.date(2026, 4, 9)),
        ("P1", dt.date(2026, 4, 9)),
        ("P3", dt.date(2026, 4, 10)),
    ]
    # 2,000 lb × 0.45359237 kg
    assert record.applications[0].mass_kg == pytest.approx(12.5 * 907.18474)
    time.sleep(1.1)  # entries are recorded to the second, and the same file sent again later is no conflict
    again = import_files(path, [file], answers=before)
    assert len(files.load(path).applications) == 3, again.taken


def test_a_load_weighs_what_was_answered_and_one_of_unknown_weight_is_left_out_aloud(
    path: Path, tmp_path: Path
) -> None:
    with files.edit(path) as editor:
        editor.put_products([Product("Ag lime", Form.LIME, lime=LimeLabel(ecce_pct=60.0))])
    rows = [
        ["Ticket", "Date", "Product", "Gross lb", "Tare lb", "Net tons"],
        ["10233", "2026-10-13", "Ag lime", "51000", "19800", "15.70"],
    ]
    file = write(tmp_path / "tickets.csv", rows)
    left = import_files(path, [file], answers={"weight.10233": "not known"})
    assert not files.load(path).purchases
    assert [one.what for one in left.problems] == ["it has no net weight, and is left out"]
    import_files(path, [file], answers={"weight.10233": "15.6 tons"})  # 51,000 less 19,800 lb
    assert [one.count for one in files.load(path).purchases] == [pytest.approx(15.6)]


def test_an_analysis_of_manure_says_what_is_still_needed(path: Path) -> None:
    with pytest.raises(InputError, match="not where it went"):
        import_files(path, [Path(__file__).parent / "sheets" / "variants" / "fresh_weight.csv"])


def test_our_own_tables_are_read_as_ever(path: Path, tmp_path: Path) -> None:
    rows = [
        ["plot_id", "sampled_on", "ph", "p", "p_unit", "p_extractant"],
        ["P1", "2026-04-01", "6.2", "9", "ppm", "Bray P1"],
    ]
    found = import_files(path, [write(tmp_path / "own.csv", rows)])
    assert found.sheets == ()
    assert files.load(path).soil_tests[0].readings["P"].value == 9


@pytest.mark.parametrize(
    "kind", ["ground limestone as sold", "CCE", "ECC", "ECCE", "ENP", "ENM", "RNV", "NV", "not known"]
)
def test_every_kind_of_lime_the_question_offers_is_taken(kind: str, path: Path, tmp_path: Path) -> None:
    rows = [[*HEAD, "Lime T/A"], ["P1", "2026-04-02", "0-6 in", "5.5", "12", "2"]]
    file = write(tmp_path / "lime.csv", rows)
    asked = {
        problem.question: problem.choices[0]
        for problem in import_files(path, [file], preview=True).problems
        if problem.question
    }
    assert asked["lime-basis"] == "ground limestone as sold"
    import_files(path, [file], answers=asked | {"lime-basis": kind})
    (test,) = files.load(path).soil_tests
    if kind == "not known":
        assert test.recommendation is None
    else:
        assert test.recommendation is not None
        assert test.recommendation.lime is not None


def test_a_test_no_table_is_written_for_is_named_and_kept(path: Path, tmp_path: Path) -> None:
    rows = [
        ["Schlag", "Probenahme", "Tiefe", "P2O5 (CAL) mg/100g", "K2O (CAL) mg/100g"],
        ["P1", "2026-04-02", "0-30 cm", "8", "14"],
    ]
    found = import_files(path, [write(tmp_path / "cal.csv", rows)])
    said = [problem.what for problem in found.problems]
    assert "no built-in table is written for P by calcium-acetate-lactate; the figure is kept" in said
    (test,) = files.load(path).soil_tests
    assert {one.value for one in test.readings.values()} == {8.0, 14.0}


def test_a_ph_printed_twice_is_asked_about(path: Path, tmp_path: Path) -> None:
    rows = [
        ["Date sampled: 10/26/2026"],
        ["Extractant: Bray P1"],
        ["Sample", "pH", "pH", "P ppm"],
        ["Creek Bottom", "7.65", "5.3", "20"],
        ["Long Stripe", "7.9", "6.1", "20"],
    ]
    file = write(tmp_path / "twice.csv", rows)
    asked = questions(path, file)
    assert asked["use.pH"] == ("the first", "the second")
    chosen = {name: choices[0] for name, choices in asked.items()}
    first = import_files(path, [file], answers=chosen | {"depth": "0-6 in", "use.pH": "the second"})
    assert files.load(path).soil_tests[-1].ph == 6.1

    # The lab's next file is laid out alike: which of its two columns it is, is not asked again.
    rows[0], rows[3:] = ["Date sampled: 10/26/2027"], [["Creek Bottom", "7.4", "5.5", "21"]]
    import_files(path, [write(tmp_path / "next.csv", rows)], profile=first.profile)
    assert files.load(path).soil_tests[-1].ph == 5.5


def test_a_limit_stays_one_and_a_range_is_for_the_person_to_decide(path: Path, tmp_path: Path) -> None:
    rows = [
        ["Sample", "Sampled", "Depth", "pH", "P (Bray P1) ppm", "K ppm (NH4OAc)", "Crop", "N rec (lb/acre)"],
        ["Creek Bottom", "2026-10-01", "0-6 in", "6.6", "<4", "90", "corn", "80-120"],
    ]
    file = write(tmp_path / "ranges.csv", rows)
    asked = questions(path, file)
    import_files(path, [file], answers={one: choices[0] for one, choices in asked.items()})
    record = files.load(path)
    test = record.soil_tests[-1]
    assert str(test.readings["P"]) == "<4 ppm"
    assert test.recommendation is not None
    assert (test.recommendation.rates[Nutrient.N].value, test.recommendation.up_to) == (80, {Nutrient.N: 120})
    shown = {field.name: field.value for field in upkeep.show(path, "soil-test", test.test_id).fields}
    assert (shown["p"], shown["rec_n"]) == ("<4", "80 to 120")


def test_a_result_that_was_not_detected_is_named_where_no_limit_is_printed(
    path: Path, tmp_path: Path
) -> None:
    rows = [
        ["Sample", "Sampled", "Depth", "pH", "P (Olsen) ppm", "K (NH4OAc) ppm"],
        ["Creek Bottom", "2026-10-01", "0-6 in", "6.6", "ND", "90"],
        ["QC Std", "2026-10-01", "", "7.0", "10", "100"],
    ]
    found = import_files(path, [write(tmp_path / "nd.csv", rows)])
    said = {problem.what: problem.fix for problem in found.problems}
    (what,) = [text for text in said if text.startswith("P is 'ND'")]
    assert "the sheet gives no limit, and is left out" in what
    assert "Ask the laboratory for its limit" in said[what]
    assert "P" not in files.load(path).soil_tests[-1].readings
