"""The one reader of people's text: what it takes, what it asks about, what it refuses, and in which words.

Bounds are the program's own, so that they exist and speak is tested, not where they lie; the conversions
beside them are exact (NIST Handbook 44, Appendix C: 1 lb = 0.45359237 kg, 1 gal = 231 in3).
"""

from __future__ import annotations

import datetime as dt
import json
import math
from decimal import Decimal
from pathlib import Path

import pytest
from command_line import SEASON, ran_well, run, worked_files, written
from hypothesis import given
from hypothesis import strategies as st

from loamwright.errors import InputError, Level, Problem, UnitError, has_errors
from loamwright.files import (
    guidelines,
    pricelists,
    settings,
    tables,
    textrows,
)
from loamwright.files.fields import BOUNDS, Fields, parse_date, typed_options
from loamwright.values import Timing

LB = 0.45359237


def fields(texts: dict[str, object], typed: bool = False) -> Fields:
    return Fields("file.csv, row 2", texts, [], typed=typed)


def only(problems: list[Problem]) -> Problem:
    (problem,) = problems
    return problem


# ---------------------------------------------------------------------------------------------
# One rule for numbers


def test_a_comma_that_can_only_be_one_thing_is_read_as_that() -> None:
    row = fields({"a": "0,125", "b": "5,8 kg", "c": "1,234,567", "d": "$1.250,50", "e": "0,5 %"})
    assert row.number("a") == 0.125
    assert row.quantity("b", "mass") == pytest.approx(5.8, rel=1e-12)
    assert row.number("c") == 1_234_567
    assert row.money("d") == Decimal("1250.50")
    assert row.percent("e") == 0.5
    assert row.problems == []


@pytest.mark.parametrize("read", ["number", "quantity", "money", "percent", "amount"])
def test_a_comma_before_three_digits_is_asked_with_both_readings(read: str) -> None:
    row = fields({"x": "1,385 lb" if read in ("quantity", "amount") else "1,385"})
    found = getattr(row, read)("x", *(["mass"] if read in ("quantity", "amount") else []))
    assert found is None
    problem = only(row.problems)
    assert (problem.where, problem.level) == ("file.csv, row 2, x", Level.ERROR)
    assert "'1,385'" in problem.what
    assert "1.385" in problem.what + problem.fix
    assert "1385" in problem.what + problem.fix


HEADING = "product,form,n,package,price\n"


@pytest.mark.parametrize(
    ("other", "price"),
    [("28.50", Decimal(1385)), ('"1,234,567"', Decimal(1385)), ('"28,50"', Decimal("1.385")), ("28", None)],
)
def test_the_column_settles_what_a_comma_is(tmp_path: Path, other: str, price: Decimal | None) -> None:
    rows = f'A,dry,46,50 lb bag,{other}\nB,dry,46,50 lb bag,"1,385"\n'
    _, offers, problems = pricelists.products_from(
        textrows.read_table(written(tmp_path / "prices.csv", HEADING + rows))
    )
    if price is None:
        (problem,) = [p for p in problems if p.level is Level.ERROR]
        assert (problem.where, len(offers)) == ("prices.csv, row 3, price", 1)
        assert "'1,385'" in problem.what
    else:
        assert not has_errors(problems)
        assert offers[1].price == price


def test_columns_are_settled_one_by_one(tmp_path: Path) -> None:
    """Tons of lime with a thousands comma beside a pH with a decimal comma."""
    text = (
        'plot_id,ph,rec_lime,rec_lime_unit\nA-1,"6,2","3,000",lb ENP/acre\nA-1,"6,4","12,500.0",lb ENP/acre\n'
    )
    rows = text.replace("\nA-1", "\nA-2", 1)
    found, problems = tables.soil_tests_from(
        textrows.read_table(written(tmp_path / "t.csv", rows)), ["A-1", "A-2"]
    )
    assert not has_errors(problems)
    assert [(test.ph, test.recommendation and test.recommendation.lime) for test in found] == [
        (6.2, tables.Quantity(3000.0, "lb ENP/acre")),
        (6.4, tables.Quantity(12500.0, "lb ENP/acre")),
    ]


def test_columns_that_contradict_themselves_settle_nothing(tmp_path: Path) -> None:
    rows = 'A,dry,46,50 lb bag,28.50\nB,dry,46,50 lb bag,"28,50"\nC,dry,46,50 lb bag,"1,385"\n'
    _, offers, problems = pricelists.products_from(
        textrows.read_table(written(tmp_path / "p.csv", HEADING + rows))
    )
    assert [offer.price for offer in offers] == [Decimal("28.50"), Decimal("28.50")]
    assert has_errors(problems)


@pytest.mark.parametrize(
    "text", ["50 lb + 10 lb", "100 lb (2)", "5 Mlb", "2**99 lb", "1e309 lb", "nan lb", "50"]
)
def test_nothing_is_worked_out(text: str) -> None:
    row = fields({"amount": text})
    assert row.quantity("amount", "mass") is None
    assert text[:2] in only(row.problems).what
    assert only(row.problems).fix


# ---------------------------------------------------------------------------------------------
# Bounds


@pytest.mark.parametrize("kind", BOUNDS)
def test_every_bound_has_a_sentence_and_shuts(kind: str) -> None:
    bound = BOUNDS[kind]
    assert bound.low < bound.high
    assert bound.why.endswith((".", "?"))
    assert bound.refusal("x", bound.high) is None
    assert (bound.refusal("x", bound.low) is None) is not bound.over
    for outside in (math.nextafter(bound.high, math.inf), math.inf, -math.inf, math.nan, -1e10):
        refusal = bound.refusal("'999'", outside)
        assert refusal is not None
        assert "'999'" in refusal.what
        assert refusal.fix


@pytest.mark.parametrize("kind", [kind for kind, bound in BOUNDS.items() if not bound.unit])
@pytest.mark.parametrize("value", [10**400, -(10**400), 1e309, float("nan"), True, "7", [7], {"a": 7}])
def test_json_and_toml_figures_are_figures_within_bounds(kind: str, value: object) -> None:
    row = fields({"x": value}, typed=True)
    assert row.number("x", kind) is None
    assert only(row.problems).where == "file.csv, row 2, x"
    assert len(only(row.problems).what) < 200


@pytest.mark.parametrize(
    ("name", "text", "kind"),
    [
        ("depth", "40 ft", "depth"),
        ("density", "900 lb/gal", "density"),
        ("density", "1 lb/gal", "density"),
        ("package", "900,000.0 lb", "package"),
        ("rate", "9000 ton/acre", "rate"),
        ("speed", "500 mph", "speed"),
    ],
)
def test_a_quantity_beyond_any_field_is_refused_in_its_own_words(name: str, text: str, kind: str) -> None:
    row = fields({name: text})
    assert row.quantity(name, kind) is None
    assert text.split()[0] in only(row.problems).what
    assert only(row.problems).fix == BOUNDS[kind].why


def test_a_density_within_bounds_is_converted_exactly() -> None:
    # 9 lb/gal = 9 x 0.45359237 kg / (231 x 0.0254**3 m3)
    assert fields({"d": "9 lb/gal"}).quantity("d", "density") == pytest.approx(
        9 * LB / (231 * 0.0254**3), rel=1e-12
    )


@pytest.mark.parametrize("year", ["1", "1926", "9999", "0", "3" * 400])
def test_years_beyond_any_record_are_refused(year: str) -> None:
    row = fields({"season": year})
    assert row.year("season") is None
    assert only(row.problems).fix
    with pytest.raises(UnitError):
        parse_date(f"{year.zfill(4)}-04-12")


def test_a_yield_is_bounded_whatever_its_unit() -> None:
    row = fields(
        {"a": "60 bu/acre", "b": "2 ton/acre", "c": "9000 bu/acre", "d": "900 ton/acre", "e": "0 bu/acre"}
    )
    assert row.amount("a", "yield", "counted yield") is not None
    assert row.amount("b", "yield", "counted yield") is not None
    for name in "cde":
        assert row.amount(name, "yield", "counted yield") is None
    assert [problem.where[-1] for problem in row.problems] == ["c", "d", "e"]
    assert fields({"a": "60 bu/acre"}).amount("a", "yield") is None


def test_a_huge_integer_in_a_file_is_a_problem_of_its_key(tmp_path: Path) -> None:
    path = written(
        tmp_path / "property.json",
        f'{{"name": "P", "season": 2026, "settings": {{"cores_per_sample": {"9" * 400}}}}}',
    )
    with pytest.raises(InputError, match="cores_per_sample"):
        settings.info_from(path)
    own = Path(__file__).parents[1] / "published" / "guidelines_own_example"
    folder = tmp_path / "mine"
    folder.mkdir()
    for file in own.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    main = (folder / "guideline.toml").read_text(encoding="utf-8")
    for digits in ("9" * 400, "9" * 5000, "inf", "nan"):
        written(folder / "guideline.toml", main.replace("target_ph = 6.5", f"target_ph = {digits}", 1))
        assert has_errors(guidelines.check_guideline(folder))


# ---------------------------------------------------------------------------------------------
# Dates, words, blanks


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-04-12", dt.date(2026, 4, 12)),
        ("2026-04-12T08:30:00Z", dt.date(2026, 4, 12)),
        ("2026-04-12 08:30", dt.date(2026, 4, 12)),
        ("4/12/2026", dt.date(2026, 4, 12)),
        ("13.4.2026", dt.date(2026, 4, 13)),
        ("04.04.2026", dt.date(2026, 4, 4)),
    ],
)
def test_dates(text: str, day: dt.date) -> None:
    assert parse_date(text) == day


@pytest.mark.parametrize(
    ("text", "system", "order", "day"),
    [
        ("3/4/2026", "us", None, dt.date(2026, 3, 4)),
        ("3.4.2026", "metric", None, dt.date(2026, 4, 3)),
        ("3/4/2026", "metric", "day-month-year", dt.date(2026, 4, 3)),
        ("3/4/2026", "us", "day-month-year", dt.date(2026, 4, 3)),
        ("3.4.2026", "metric", "month-day-year", dt.date(2026, 3, 4)),
        ("23/4/2026", "metric", None, dt.date(2026, 4, 23)),
        ("4/23/2026", "metric", None, dt.date(2026, 4, 23)),
        ("4/4/2026", "metric", None, dt.date(2026, 4, 4)),
    ],
)
def test_which_part_of_a_date_stands_first(text: str, system: str, order: str | None, day: dt.date) -> None:
    """Common practice, no source: slashes month first in the US, dots day first where metric."""
    assert parse_date(text, system, order) == day


@pytest.mark.parametrize(("text", "system"), [("3/4/2026", "metric"), ("3.4.2026", "us")])
def test_a_date_that_may_be_two_is_refused_with_both(text: str, system: str) -> None:
    with pytest.raises(UnitError, match=r"2026-03-04 or 2026-04-03"):
        parse_date(text, system)


@pytest.mark.parametrize(
    "text",
    [
        "2026-04-12 or so",
        "2026-04-12T",
        "31/12/2026",
        "2026-02-30",
        "4.5.2026",
        "spring",
        "12-04-2026",
        "٢٠٢٦-04-12",
    ],
)
def test_dates_that_are_none_or_two(text: str) -> None:
    row = fields({"on": text})
    assert row.date("on") is None
    assert text[:4] in only(row.problems).what
    if text == "4.5.2026":
        assert all(reading in only(row.problems).fix for reading in ("2026-05-04", "2026-04-05"))


@pytest.mark.parametrize("blank", ["", "  ", "-", "n/a", "Not Tested", "unknown", "?"])
def test_blank_is_not_stated_and_never_zero(blank: str) -> None:
    row = fields({"x": blank})
    for found in (row.number("x"), row.money("x"), row.date("x"), row.yes_no("x"), row.word("x", Timing)):
        assert found is None
    assert (row.text("x"), row.listed("x"), row.problems) == ("", (), [])
    assert fields({}).number("x") is None
    row.required("x", "7")
    assert "x is blank" in only(row.problems).what


def test_an_option_that_is_typed_says_something() -> None:
    problems: list[Problem] = []
    typed = typed_options({"amount": " ", "speed": None, "applied on": "?"}, problems)
    assert (typed.quantity("amount", "mass"), typed.quantity("speed", "speed")) == (None, None)
    assert [problem.where for problem in problems] == ["amount", "applied on"]


@pytest.mark.parametrize(
    ("text", "said"), [("Yes", True), ("y", True), ("TRUE", True), ("0", False), ("no", False)]
)
def test_yes_and_no(text: str, said: bool) -> None:
    assert fields({"x": text}).yes_no("x") is said
    assert fields({"x": said}, typed=True).yes_no("x") is said


def test_keys_nobody_asked_for_are_named() -> None:
    row = fields({"name": "A", "hoper": "100 lb"}, typed=True)
    row.text("name")
    row.finish()
    assert only(row.problems).where == "file.csv, row 2, hoper"


@given(
    st.dictionaries(st.sampled_from("abc"), st.text(max_size=12) | st.integers() | st.floats() | st.none()),
    st.booleans(),
)
def test_whatever_stands_there_is_a_value_or_one_problem(texts: dict[str, object], typed: bool) -> None:
    if not typed:
        texts = {name: str(text) for name, text in texts.items()}
    for name in texts:
        for read in (
            lambda row, n: row.number(n, "reading"),
            lambda row, n: row.quantity(n, "mass"),
            lambda row, n: row.percent(n),
            lambda row, n: row.money(n),
            lambda row, n: row.date(n),
            lambda row, n: row.yes_no(n),
            lambda row, n: row.amount(n, "yield", "counted yield"),
        ):
            row = fields(texts, typed)
            value = read(row, name)
            assert len(row.problems) <= 1
            assert value is None or not row.problems
            if row.problems:
                str(row.problems[0]).encode()
                assert row.problems[0].fix


# ---------------------------------------------------------------------------------------------
# Files


def test_a_key_that_stands_twice_loses_nothing_silently(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'name' stands twice"):
        settings.info_from(written(tmp_path / "p.json", '{"name": "A", "name": "B", "season": 2026}'))


def test_a_file_is_read_once_on_import(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Telling what a file holds and taking it in share one reading: a table, a map, settings, records."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    shapes, tests, products = worked_files(tmp_path)
    maps = shapes.rename(tmp_path / "plots.json")
    about = written(tmp_path / "property.json", json.dumps({"name": "Own ground", "season": SEASON}))
    entries = {"format": "loamwright-records", "version": 1, "entries": []}
    done = written(tmp_path / "done.json", json.dumps(entries))
    read: list[str] = []
    open_bytes = Path.read_bytes

    def counted(file: Path) -> bytes:
        read.append(file.name)
        return open_bytes(file)

    monkeypatch.setattr(Path, "read_bytes", counted)
    run("import", path, maps, tests, products, about, done)
    names = [file.name for file in (maps, tests, products, about, done)]
    assert sorted(name for name in read if name in names) == sorted(names)
