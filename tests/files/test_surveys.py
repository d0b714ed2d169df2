"""Plots from tape, compass and survey, by command: areas against published examples and hand arithmetic."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, ran_well, run, written

FT_M, ACRE_FT2 = 0.3048, 43_560.0
PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "published" / "area_checks.json").read_text(encoding="utf-8")
)["cases"]


def measured(tmp_path: Path, *lines: str) -> Any:
    return ran_well("measure", written(tmp_path / "tape.csv", "\n".join(lines) + "\n"))


def acres(tmp_path: Path, *lines: str) -> float:
    (plot,) = measured(tmp_path, *lines)["plots"]
    return float(plot["area_acres"])


def published(ident: str) -> dict[str, Any]:
    return next(case for case in PUBLISHED if case["id"] == ident)


#: J. Mahun, Open Access Surveying Library, Traverse Computations, chapter I, example 1 (bearing traverse).
BEARINGS = (
    "plot_id,bearing,distance (ft)",
    'T-1,"S 68°05\'35""W",472.68',
    ',"N 19°46\'00""W",216.13',
    ',"N 45°55\'20""E",276.52',
    ',"S 54°59\'15""E",382.24',
)


def test_bearings_and_distances_with_their_error_of_closure(tmp_path: Path) -> None:
    """The source prints latitude error +0.083 and departure error +0.075: √(0.083² + 0.075²) = 0.1119 ft in
    1,347.57 ft, 1 in 12,000; its chapter G prints twice the area, 205,871.5 ft²."""
    said = measured(tmp_path, *BEARINGS)
    (plot,) = said["plots"]
    assert plot["area_acres"] * ACRE_FT2 == pytest.approx(102_935.75, abs=15)  # bearings to 5″
    assert plot["perimeter_ft"] == pytest.approx(1347.57, abs=0.2)
    assert said["unplaced"] == ["T-1"]
    notes = [problem["what"] for problem in said["problems"]]
    closure = next(note for note in notes if "error of closure" in note)
    assert "(0.112 ft)" in closure or "(0.111 ft)" in closure
    assert "1 in 12,1" in closure
    assert any("an area without a shape" in note for note in notes)


def test_a_second_traverse(tmp_path: Path) -> None:
    """Balance of traverses by the compass rule, an exercise with its answer: linear misclosure 0.045 ft,
    precision 1 in 22,500."""
    said = measured(
        tmp_path,
        "bearing,distance_ft",
        '"N 22°36\'40"" W",314.02',
        '"S 60°39\'24"" W",264.49',
        '"S 38°46\'10"" E",213.50',
        '"N 88°22\'58"" E",217.69',
    )
    (closure,) = [p["what"] for p in said["problems"] if "closure" in p["what"]]
    assert "(0.045 ft)" in closure
    assert "1 in 22," in closure


@pytest.mark.parametrize("ident", ["mahun-cogo-H2", "mahun-travarea-problem2"])
def test_corners_as_coordinates(ident: str, tmp_path: Path) -> None:
    case = published(ident)
    rows = [f"P-1,{north},{east}" for north, east in case["north_east"]]
    found = acres(tmp_path, "plot_id,north (ft),east (ft)", *rows) * ACRE_FT2
    assert found == pytest.approx(case["area"], abs=case["area_tol"])


def test_a_square_kilometre_of_azimuths(tmp_path: Path) -> None:
    """GeographicLib, PlanimeterTest 29: 1 km east, north, west; placed on the map at 0, 0."""
    case = published("gl-planimeter29-1km-square")
    lat, lon = case["start_lat_lon"]
    legs = [*case["edges_azi_m"], [180, 1000]]
    rows = [f"P-1,{azimuth},{metres} m,{lat},{lon}" for azimuth, metres in legs]
    said = measured(tmp_path, "plot_id,azimuth,distance,latitude,longitude", *rows)
    assert said["plots"][0]["area_m2"] == pytest.approx(case["area"], abs=0.1)
    assert said["unplaced"] == []


def test_corners_in_degrees_are_a_boundary(tmp_path: Path) -> None:
    """The same corners as GeoJSON and as a table are the same plot; degrees, minutes and seconds too."""
    plain = acres(
        tmp_path, "corner,lat,lon", "1,46.05,-93.05", "2,46.05,-93.04", "3,46.06,-93.04", "4,46.06,-93.05"
    )
    words = acres(
        tmp_path,
        "latitude,longitude",
        '"46°03\'00"" N","93°03\'00"" W"',
        "46 3 0 N,93 2 24 W",
        "46.06,-93.04",
        "N46.06,W93.05",
    )
    assert plain == pytest.approx(860_170 / 4046.8564224, rel=1e-6)  # the example of land.sizes
    assert words == pytest.approx(plain, rel=1e-12)


def test_corners_of_a_named_coordinate_system(tmp_path: Path) -> None:
    """UTM zone 15 at its middle meridian: the grid is 0.9996 of the ground, 1 ha of it is 1 / 0.9996² ha."""
    found = measured(
        tmp_path,
        "field,easting,northing,crs",
        *(f"U,{e},{n},EPSG:32615" for e, n in ((500000, 5100000), (500100, 5100000), (500100, 5100100))),
        "U,500000,5100100,EPSG:32615",
    )
    assert found["plots"][0]["area_m2"] == pytest.approx(10_000 / 0.9996**2, rel=1e-6)
    assert found["unplaced"] == []


def test_sides_and_a_diagonal(tmp_path: Path) -> None:
    """3-4-5 triangles by hand: 300 × 400 / 2 + 300 × 400 / 2 = 120,000 ft²; both diagonals 500 ft."""
    header = "plot,ab,bc,cd,da,ac,bd"
    said = measured(tmp_path, header, "Q-1,300 ft,400 ft,300 ft,400 ft,500 ft,500 ft")
    assert said["plots"][0]["area_acres"] * ACRE_FT2 == pytest.approx(120_000, abs=1e-6)
    assert said["plots"][0]["perimeter_ft"] == pytest.approx(1400)
    # Heron: sides 120, 80, 150: s = 175, √(175·55·95·25) = 4,781.15; 150, 100, 90: s = 170, √(170·20·70·80) =
    # 4,363.48; together 9,144.63 m².
    assert acres(tmp_path, header, "Q-2,120 m,80 m,100 m,90 m,150 m,") * 4046.8564224 == pytest.approx(
        9144.6, abs=0.1
    )


def test_five_corners(tmp_path: Path) -> None:
    """A square of 100 m with a roof of 30 m on top: 10,000 + 100 × 30 / 2 = 11,500 m².

    Corners a (0,0), b (0,100), c (50,130), d (100,100), e (100,0): bc = cd = √(50² + 30²) = 58.3095,
    ac = √(50² + 130²) = 139.2839, ad = √2 · 100 = 141.4214.
    """
    found = acres(
        tmp_path, "ab_m,bc_m,cd_m,de_m,ea_m,ac_m,ad_m", "100,58.3095,58.3095,100,100,139.2839,141.4214"
    )
    assert found * 4046.8564224 == pytest.approx(11_500, abs=0.5)


def test_a_diagonal_that_does_not_fit_is_told(tmp_path: Path) -> None:
    file = written(
        tmp_path / "tape.csv",
        "plot,ab,bc,cd,da,ac,bd\nQ-1,300 ft,400 ft,300 ft,400 ft,500 ft,460 ft\n"
        "Q-2,300 ft,400 ft,300 ft,400 ft,800 ft,\nQ-3,300 ft,400 ft,300 ft,400 ft,,\n",
    )
    done = run("measure", file)
    assert done.code == 2
    assert done.says("Q-1", "was measured", "measure again")
    assert done.says("Q-2", "make no triangle")
    assert done.says("Q-3", "do not cut it into triangles")


def test_offsets_from_a_baseline(tmp_path: Path) -> None:
    """Area by offsets from a straight line, illustrative problem E1: 13 offsets 3.5 m apart, 211.4 m²."""
    offsets = ["0.8", "3.6", "4.7", "5.3", "3.9", "2.7", "4.6", "5.5", "4.9", "7.6", "8.8", "5.4", "6.0"]
    rows = [f"{3.5 * n},{offset}" for n, offset in enumerate(offsets)]
    assert acres(tmp_path, "station m,offset m", *rows) * 4046.8564224 == pytest.approx(211.4, abs=0.1)


def test_offsets_to_both_sides(tmp_path: Path) -> None:
    """A worked exercise: 0, 8, 17 and 28 m; left 16, 28, 16, 12; right 18, 10, 32, 12.

    Left 8·22 + 9·22 + 11·14 = 528, right 8·14 + 9·21 + 11·22 = 543; together 1,071 m².
    """
    rows = ("0,16,18", "8,28,10", "17,16,32", "28,12,12")
    assert acres(tmp_path, "chainage m,left m,right m", *rows) * 4046.8564224 == pytest.approx(1071, abs=1e-6)


def test_circle_rectangle_trapezoid(tmp_path: Path) -> None:
    """π · 117.75² = 43,558 ft²; 660 × 66 ft is an acre; 25 · (19.4 + 39.6) / 2 = 737.5 m²."""
    said = measured(
        tmp_path,
        "plot_id,radius,diameter,length,width,parallel_1,parallel_2,height",
        "C-1,117.75 ft,,,,,,",
        "C-2,,235.5 ft,,,,,",
        "R-1,,,10 chains,22 yd,,,",
        'R-2,,,660 ft,"65\'12""",,,',
        "Z-1,,,,,19.4 m,39.6 m,25 m",
    )
    areas = {plot["plot_id"]: plot["area_acres"] for plot in said["plots"]}
    assert areas["C-1"] * ACRE_FT2 == pytest.approx(43_558.4, abs=0.5)
    assert areas["C-2"] == pytest.approx(areas["C-1"])
    assert areas["R-1"] == pytest.approx(1, rel=1e-9)
    assert areas["R-2"] == pytest.approx(1, rel=1e-9)
    assert areas["Z-1"] * 4046.8564224 == pytest.approx(737.5)
    assert next(p for p in said["plots"] if p["plot_id"] == "Z-1")["perimeter_m"] is None


@pytest.mark.parametrize(
    ("header", "row", "square_feet"),
    [
        # a right angle between 300 and 400 ft: 300 · 400 / 2 = 60,000 ft²
        ("plot,side a,side b,side c", "T,300 ft,400 ft,500 ft", 60_000),
        ("plot,Side C (ft),Side A (ft),Side B (ft)", "T,500,300,400", 60_000),
        ("plot,side 1 ft,side 2 ft,side 3 ft", "T,300,400,500", 60_000),
        # π · 117.75² = 43,558.4 ft²
        ("plot,circle radius", "C,117.75 ft", 43_558.4),
        ("plot,Diameter of circle (ft)", "C,235.5", 43_558.4),
        # (300 + 200) / 2 · 100 = 25,000 ft²
        ("plot,parallel side 1 (ft),parallel side 2 (ft),height (ft)", "Z,300,200,100", 25_000),
        ("plot,base 1,base 2,height", "Z,300 ft,200 ft,100 ft", 25_000),
        ("plot,side 1,side 2,height", "Z,300 ft,200 ft,100 ft", 25_000),
    ],
)
def test_headings_that_can_mean_one_ground_only(
    header: str, row: str, square_feet: float, tmp_path: Path
) -> None:
    assert acres(tmp_path, header, row) * ACRE_FT2 == pytest.approx(square_feet, abs=0.1)


def test_offsets_to_the_left_and_to_the_right(tmp_path: Path) -> None:
    """Two stations 50 ft apart: left 50 · (10 + 12) / 2 = 550, right 50 · 20 = 1,000; together 1,550 ft²."""
    header = "station (ft),offset to the left (ft),offset to the right (ft)"
    assert acres(tmp_path, header, "0,10,20", "50,12,20") * ACRE_FT2 == pytest.approx(1550)
    assert acres(tmp_path, "station ft,offset left ft,offset right ft", "0,10,20", "50,12,20") * ACRE_FT2 == (
        pytest.approx(1550)
    )


@pytest.mark.parametrize("diagonal", ["diagonal", "diagonal ac"])
def test_four_sides_without_named_corners_are_refused_with_the_way_out(diagonal: str, tmp_path: Path) -> None:
    """Which corners a diagonal joins is not said by sides alone, and it decides the area."""
    head = f"plot,side a,side b,side c,side d,{diagonal}"
    done = run("measure", written(tmp_path / "tape.csv", f"{head}\nQ,3 m,4 m,3 m,4 m,5 m\n"))
    assert done.code == 2
    assert done.says("side d", "ab bc cd da, and ac or bd")


#: Ten square chains are an acre (NIST Handbook 44, Appendix C: 1 chain = 66 ft = 100 links; an acre is
#: 43,560 ft² = 10 · 66²): 4.5 ch by 4 ch are 18 square chains, 1.8 acres.
CHAINS = (("0", "4.5"), ("90", "4"), ("180", "4.5"), ("270", "4"))


@pytest.mark.parametrize(
    ("heading", "unit"),
    [("distance", " ch"), ("distance", " chains"), ("distance (ch)", ""), ("distance_chains", "")],
)
def test_chains(heading: str, unit: str, tmp_path: Path) -> None:
    rows = [f"{bearing},{length}{unit}" for bearing, length in CHAINS]
    assert acres(tmp_path, f"bearing,{heading}", *rows) == pytest.approx(1.8, rel=1e-9)


def test_chains_and_links_as_old_deeds_write_them(tmp_path: Path) -> None:
    """450 and 400 links are 4.5 and 4 chains."""
    rows = ("0,4 ch 50 li", "90,400 links", "180,4 chains 50 links", "270,4 ch. 0 li.")
    assert acres(tmp_path, "bearing,distance", *rows) == pytest.approx(1.8, rel=1e-9)


@pytest.mark.parametrize(
    ("heading", "rows", "column", "figure"),
    [
        ("plot_id,bearing,distance", [f"A,{b},{d}" for b, d in CHAINS], "distance", "4.5"),
        ("plot_id,length,width", ["A,200,100"], "length", "200"),
        ("plot_id,length,width", ["A,200 ft,100"], "width", "100"),
        ("plot_id,ab,bc,ca", ["A,90 ft,80,70"], "bc", "80"),
        ("plot_id,station,offset", ["A,0 ft,12", ",40 ft,20"], "offset", "12"),
        ("plot_id,radius", ["A,60"], "radius", "60"),
    ],
)
def test_bare_figures_are_refused_by_name(
    heading: str, rows: list[str], column: str, figure: str, tmp_path: Path
) -> None:
    """They ended in an error of ours: a side of no length was divided by."""
    done = run("measure", written(tmp_path / "tape.csv", "\n".join([heading, *rows]) + "\n"))
    assert (done.code, done.says(column, f"'{figure}' has no unit")) == (2, True), done.problems


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("bearing,distance\n0,0 ft\n90,0 ft\n180,0 ft", ("leg of 0 m", "with its unit")),
        ("bearing,distance\n0,9 m\n90,-4 m\n180,9 m\n90,4 m", ("leg of -4 m",)),
        ("ab,bc,ca\n90 ft,80 ft,0 ft", ("ac of 0 m encloses nothing",)),
        ("length,width\n200 ft,0 ft", ("bc of 0 m encloses nothing",)),
    ],
)
def test_sides_of_no_length_are_refused(rows: str, words: tuple[str, ...], tmp_path: Path) -> None:
    done = run("measure", written(tmp_path / "tape.csv", rows + "\n"))
    assert (done.code, done.says(*words)) == (2, True), done.problems


def test_a_trapezoid_with_its_shift_is_laid_on_the_map(tmp_path: Path) -> None:
    """Sides of 40 m and 20 m, 30 m apart, the other begins after 10 m: (40 + 20) / 2 · 30 = 900 m².

    Its slanted ends are √(30² + 10²) = 31.623 m each, so its boundary is 40 + 20 + 2 · 31.623 = 123.246 m.
    """
    heading = "plot_id,parallel_1,parallel_2,height,shift,bearing,latitude,longitude"
    said = measured(
        tmp_path, heading, "T-1,40 m,20 m,30 m,10 m,90,46.05,-93.05", "T-2,40 m,20 m,30 m,,90,46.05,-93.05"
    )
    plots = {plot["plot_id"]: plot for plot in said["plots"]}
    assert plots["T-1"]["area_acres"] * 4046.8564224 == pytest.approx(900, rel=1e-4)
    assert plots["T-1"]["perimeter_m"] == pytest.approx(123.246, rel=1e-4)
    assert plots["T-2"]["area_acres"] * 4046.8564224 == pytest.approx(900)
    notes = [one["fix"] for one in said["problems"] if "without a shape" in one["what"]]
    (note,) = notes
    assert "add a column shift" in note


def test_legs_that_do_not_come_back_are_refused(tmp_path: Path) -> None:
    file = written(tmp_path / "t.csv", "bearing,distance\nN 10 E,300 ft\nE,300 ft\nS,300 ft\n")
    done = run("measure", file)
    assert done.code == 2
    assert done.says("from where they began", "leads back")


def test_a_poor_closure_is_a_warning(tmp_path: Path) -> None:
    """300 ft square whose last leg is 6 ft short: 6 in 1,194 is 1 in 199."""
    file = written(tmp_path / "t.csv", "bearing,distance\nN,300 ft\nE,300 ft\nS,300 ft\nW,294 ft\n")
    done = run("measure", file)
    assert done.code == 1
    assert done.says("error of closure", "(6.000 ft)", "Measure again")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("bearing,distance\nN 95 E,300 ft", ("'N 95 E'", "quadrant")),
        ("bearing,distance\n400,300 ft", ("'400'", "bearing")),
        ("bearing,distance\nN,300", ("'300'", "no unit", "distance_ft")),
        ("bearing,distance\nN,300 lb", ("'300 lb'",)),
        ("lat,lon\n96.1,-93\n46,-93\n46,-92", ("'96.1'", "beyond 90")),
        ("lat,lon\n46.1,-93\n46,-93", ("2 corners",)),
        ("station,offset\n5 m,3 m\n2 m,3 m", ("do not rise",)),
        ("radius\n-5 m", ("-5",)),
        ("name,size\nA,5", ("no columns that measure ground",)),
    ],
)
def test_what_cannot_be_is_named(rows: str, words: tuple[str, ...], tmp_path: Path) -> None:
    done = run("measure", written(tmp_path / "t.csv", rows + "\n"))
    assert done.code == 2
    assert done.says(*words), done.problems


# ---------------------------------------------------------------------------------------------
# Into a property


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    return path


def test_a_placed_survey_becomes_a_plot_with_its_crop(own: Path, tmp_path: Path) -> None:
    rows = [BEARINGS[0] + ",latitude,longitude,crop", BEARINGS[1] + ",46.05,-93.05,oats"]
    file = written(tmp_path / "t.csv", "\n".join([*rows, *(row + ",,," for row in BEARINGS[2:])]) + "\n")
    ran_well("import", own, file)
    ran_well("export", own, "boundaries", tmp_path / "out")
    (boundaries,) = (tmp_path / "out").glob("*plots*.geojson")
    (plot,) = ran_well("measure", boundaries)["plots"]
    assert plot["area_acres"] * ACRE_FT2 == pytest.approx(102_935.75, abs=15)
    assert "oats" in run("show", own, "cropping", "T-1", as_json=False).text


def test_where_a_tape_measured_plot_lies_is_asked(own: Path, tmp_path: Path) -> None:
    file = written(tmp_path / "t.csv", "plot,ab,bc,cd,da,ac\nQ 1,300 ft,400 ft,300 ft,400 ft,500 ft\n")
    asked = run("import", own, file)
    assert asked.code == 2
    (question,) = asked.data["questions"]
    assert question["id"] == "place.Q 1"
    assert "2.75 acres" in question["question"]  # 120,000 / 43,560
    assert run("import", own, file, "--answer", "place.Q 1=nowhere").code == 2
    ran_well("import", own, file, "--answer", "place.Q 1=leave it out")
    assert run("show", own, "plot", as_json=False).text.count("Q 1") == 0
    taken = ran_well("import", own, file, "--answer", "place.Q 1=46.05, -93.05")
    assert any("no bearing is given" in problem["what"] for problem in taken["problems"])
    assert "Q 1" in run("show", own, "plot", as_json=False).text


# ---------------------------------------------------------------------------------------------
# What a phone saves


def phone(path: Path, *features: tuple[dict[str, str], str, Any]) -> Path:
    shapes = [
        {"type": "Feature", "properties": words, "geometry": {"type": kind, "coordinates": places}}
        for words, kind, places in features
    ]
    return written(path, json.dumps({"type": "FeatureCollection", "features": shapes}))


def ring(west: float, south: float = 46.05, size: float = 0.001) -> list[Any]:
    east, north = west + size, south + size
    return [[[west, south], [east, south], [east, north], [west, north], [west, south]]]


GATE = ({"name": "Gate"}, "Point", [-93.0495, 46.0499])
LANE = ({"name": "Lane"}, "LineString", [[-93.052, 46.049], [-93.0495, 46.0499]])
WELL = ({"name": "Old well"}, "Point", [-93.0493, 46.0503])
POND = ({"name": "Pond"}, "Polygon", ring(-93.0496, 46.0504, 0.0002))
WALK = ({"name": "South"}, "LineString", ring(-93.048)[0])


def test_an_odd_feature_is_offered_as_a_way(own: Path, tmp_path: Path) -> None:
    file = phone(tmp_path / "phone.geojson", ({"name": "North"}, "Polygon", ring(-93.05)), GATE)
    asked = run("import", own, file)
    assert asked.code == 2
    (question,) = asked.data["questions"]
    assert (question["id"], "gate" in question["choices"]) == ("feature.2", True)
    assert asked.says("Gate", "Likely: gate")
    ran_well("import", own, file, "--answer", "feature.2=gate")
    assert (
        "gate-1" in run("show", own, "way", as_json=False).text
        or "way-1" in run("show", own, "way", as_json=False).text
    )


def test_every_feature_that_does_not_tell_is_asked(own: Path, tmp_path: Path) -> None:
    north = ({"name": "North"}, "Polygon", ring(-93.05))
    file = phone(tmp_path / "walks.geojson", north, WALK, GATE, LANE, WELL, POND)
    asked = run("import", own, file)
    assert {question["id"] for question in asked.data["questions"]} == {f"feature.{n}" for n in (3, 4, 5, 6)}
    answers = ("feature.3=gate", "feature.4=track", "feature.5=keep-out", "feature.6=keep-out")
    taken = run("import", own, file, *(word for answer in answers for word in ("--answer", answer)))
    assert taken.code in (0, 1)  # setbacks are not stated
    assert any("2 plots" in sentence for sentence in taken.data["taken"])
    assert any("2 ways" in sentence for sentence in taken.data["taken"])
    assert any("2 keep-outs" in sentence for sentence in taken.data["taken"])
    assert run("import", own, file, "--answer", "feature.3=house").code == 2


def test_measure_leaves_out_what_is_no_plot_and_says_so(tmp_path: Path) -> None:
    file = phone(tmp_path / "phone.geojson", ({"name": "North"}, "Polygon", ring(-93.05)), GATE, LANE)
    said = ran_well("measure", file)
    assert [plot["name"] for plot in said["plots"]] == ["North"]
    assert sum("it is no plot" in problem["what"] for problem in said["problems"]) == 2
