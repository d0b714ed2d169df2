"""`loamwright read`: what a sheet says, its questions with the way to answer them, and a lab's profile."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import Ran, box, geojson, ran_well, run

from loamwright.files import load

LABS = Path(__file__).parents[1] / "files" / "sheets" / "labs"
SHEETS = sorted(path for path in LABS.iterdir() if path.suffix in (".csv", ".xlsx"))


def test_every_sheet_is_told_as_json() -> None:
    for path in SHEETS:
        said = run("read", str(path))
        assert said.data.keys() >= {"file", "kind", "samples", "offers", "questions", "left_out", "remarks"}
        assert said.data["file"] == path.name
        assert said.code == (1 if said.data["questions"] else 0)
        for question in said.data["questions"]:
            assert question.keys() >= {"id", "about", "where", "choices"}


def test_people_read_headings_samples_and_how_to_answer() -> None:
    said = run("read", str(LABS / "dev05_index_report.csv"), as_json=False)
    text = " ".join(said.text.split())
    told = "soil tests of Sandhill Agronomic Service (invented)"
    for words in (told, "P-I", "Mehlich-3", "index", "60-80"):
        assert words in text
    assert 'Answer with --answer depth="…": 0-6 in, 0-7 in, 0-8 in' in text
    assert "Left out: column 'Ca%': share of the exchange capacity" in text


def test_people_read_manure_prices_and_loads() -> None:
    litter = " ".join(run("read", str(LABS / "dev10_litter_report.xlsx"), as_json=False).text.split())
    assert "House 2" in litter
    assert "52.5 lb/ton" in litter
    prices = " ".join(run("read", str(LABS / "dev11_dealer_prices.csv"), as_json=False).text.split())
    for words in ("1,015.00", "no price", "out of stock", "at least 3 ton", "65 per load within 20 mi"):
        assert words in prices
    loads = " ".join(run("read", str(LABS / "dev12_lime_tickets.csv"), as_json=False).text.split())
    assert "24.07 tons" in loads
    assert "enp_lb_ton 1290" in loads


def test_a_profile_is_kept_and_used(tmp_path: Path) -> None:
    path, profile = str(LABS / "dev06_uk_indices.xlsx"), tmp_path / "lab.json"
    said = run("read", path, "--answer", "depth=0-15 cm", "--save-profile", str(profile))
    assert (said.code, said.data["questions"]) == (0, [])
    assert json.loads(profile.read_text(encoding="utf-8"))["answers"] == {"depth": "0-15 cm"}
    again = run("read", path, "--profile", str(profile))
    assert again.code == 0
    assert again.data["samples"][0]["depth"] == {"top": 0.0, "bottom": 15.0, "unit": "cm"}


@pytest.mark.parametrize(
    "name",
    [
        "labs/dev01_midwest_codes.csv",
        "labs/dev03_two_crops_unit_row.csv",
        "labs/dev04_value_with_rating.csv",
        "labs/dev09_long_lims.csv",
        "variants/group_heading.csv",
        "variants/test_not_named.csv",
        "modus/m3_slim.json",
    ],
)
def test_a_profile_keeps_every_answer_that_lasts(name: str, tmp_path: Path) -> None:
    """The next files of a lab ask for the day of sampling where none is printed, and for nothing else."""
    source, path, profile = LABS.parent / name, tmp_path / "place.gpkg", tmp_path / "lab.json"
    ran_well("new", path, "--name", "Place", "--season", "2026")
    plots = geojson(
        tmp_path / "plots.geojson",
        ({"plot_id": "P1"}, [box()]),
        ({"plot_id": "P2"}, [box(west=-93.04)]),
    )
    ran_well("import", path, plots)
    answers: dict[str, str] = {}

    def imported(year: str, *more: object) -> Ran:
        file = tmp_path / f"{year}{source.suffix}"
        file.write_text(source.read_text(encoding="utf-8-sig").replace("2025", year), encoding="utf-8")
        given = [word for ident, text in answers.items() for word in ("--answer", f"{ident}={text}")]
        return run("import", path, file, *given, *more, "--save-profile", profile)

    while asked := imported("2025").data.get("questions"):
        assert answers.keys().isdisjoint(question["id"] for question in asked)
        answers |= {
            one["id"]: "2026-03-01" if one["choices"][0].startswith("<day") else one["choices"][0]
            for one in asked
        }
    day = {"sampled": answers["sampled"]} if "sampled" in answers else {}
    for year in ("2026", "2027"):
        answers = {}
        said = imported(year, "--profile", profile)
        assert [question["id"] for question in said.data.get("questions", [])] == list(day)
        if day:
            assert "no earlier file's day is taken" in said.data["questions"][0]["question"]
            answers = day
            said = imported(year, "--profile", profile)
        assert said.data["taken"]


@pytest.mark.parametrize(
    ("name", "label", "potassium"), [("m1_result_v1.xml", "AF-03", 88), ("m2_result_v1.json", "AF-04", 140)]
)
def test_results_of_the_open_standard_come_into_a_property(
    name: str, label: str, potassium: float, tmp_path: Path
) -> None:
    path = tmp_path / "place.gpkg"
    ran_well("new", path, "--name", "Place", "--season", "2026")
    ran_well("import", path, geojson(tmp_path / "plots.geojson", ({"plot_id": label}, [box()])))
    asked = run("import", path, LABS.parent / "modus" / name)
    answers = [f"{one['id']}={one['choices'][0]}" for one in asked.data["questions"]]
    given = [word for answer in answers for word in ("--answer", answer)]
    assert run("import", path, LABS.parent / "modus" / name, *given).code < 2
    (test,) = load(path).soil_tests
    assert (test.plot_id, test.readings["K"].value) == (label, potassium)


def test_below_a_limit_that_is_not_printed_is_told_as_that(tmp_path: Path) -> None:
    path = tmp_path / "place.gpkg"
    ran_well("new", path, "--name", "Place", "--season", "2026")
    ran_well("import", path, geojson(tmp_path / "plots.geojson", ({"plot_id": "P1"}, [box()])))
    said = run("add", path, "soil-test", "T1", "plot=P1", "p=DL", "p_unit=ppm", "p_extractant=Olsen")
    assert said.code == 2
    assert said.says("'DL' says that less was there than the laboratory can find", "is not zero")


def test_refusals(tmp_path: Path) -> None:
    path = str(LABS / "dev06_uk_indices.xlsx")
    for words, what in (
        ((path, "--answer", "depth"), "'depth' is no answer"),
        ((path, "--answer", "depth=deep"), "'deep' is no answer to the question depth"),
        ((path, "--answer", "colour=red"), "no question is called colour"),
        ((path, "--profile", str(tmp_path / "none.json")), "none.json"),
        ((str(tmp_path / "none.csv"),), "there is no file"),
    ):
        said = run("read", *words)
        assert said.code == 2
        assert any(what in problem for problem in said.problems), words
