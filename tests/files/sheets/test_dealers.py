"""Price sheets and tickets in the habits of dealers and quarries: units, packages, sentences with charges.

All sheets are invented; every expected figure is typed by hand from the sheet above it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

import pytest

from loamwright.errors import InputError
from loamwright.files.sheets import SheetContents, read_sheet


def sheet(tmp_path: Path, *lines: str, answers: Mapping[str, str] | None = None) -> SheetContents:
    path = tmp_path / "sheet.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_sheet(path, answers=answers or {})


def prices(contents: SheetContents) -> list[tuple[object, ...]]:
    return [(one.product, one.package, one.price, one.per, one.note) for one in contents.offers]


def left(contents: SheetContents) -> list[str]:
    return [item.where for item in contents.left_out]


def test_a_unit_for_each_price(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Millbrook Co-op (invented),,,",
        "Product,Grade,Price,Unit",
        "Urea,46-0-0,31.50,cwt",
        "MAP,11-52-0,795.00,ton",
        "Potash,0-0-60,22.40,50 lb bag",
        "Thiosulfate 12-0-0-26S,,980,275 gal tote",
        "Starter,6-24-6,7.10,gal",
    )
    weights = ["density.thiosulfate-12-0-0-26s", "density.starter"]
    assert [question.id for question in contents.questions] == weights
    assert prices(contents) == [
        ("Urea", None, 31.5, "cwt", None),
        ("MAP", None, 795.0, "ton", None),
        ("Potash", "50 lb", 22.4, "bag", None),
        ("Thiosulfate 12-0-0-26S", "275 gal", 980.0, "tote", None),
        ("Starter", None, 7.1, "gal", None),
    ]


def test_whether_an_offer_is_dry_or_liquid_is_asked_where_the_sheet_does_not_tell(tmp_path: Path) -> None:
    """UAN 28 % is liquid, 10.67 lb/gal at 60 F, urea 46-0-0 dry: the publications named in materials.csv.

    Of a flowing 24-0-0 by the ton no page says which it is; 7-0-0 in a tote of gallons can only be liquid.
    """
    lines = (
        "Millbrook Co-op (invented),,,",
        "Product,Grade,Price,Unit",
        "Urea,46-0-0,612.00,ton",
        "Turf blend,19-4-10,24.00,50 lb bag",
        "UAN 28,28-0-0,400.00,ton",
        "Nitro,24-0-0,500.00,ton",
        "UAN 28,28-0-0,3.10,gal",
        "Foliar,7-0-0,250.00,275 gal tote",
        "Foliar,7-0-0,19.00,2.5 gal",
    )
    contents = sheet(tmp_path, *lines)
    asked = {question.id: question.likely for question in contents.questions}
    assert asked == {
        "form.uan-28": "liquid",
        "form.nitro": None,
        "density.uan-28": "10.67 lb/gal",
        "density.foliar": None,
    }
    assert [offer.candidates for offer in contents.offers[3:5]] == [("form",), ("density_lb_gal",)]
    answers = {
        "form.uan-28": "liquid",
        "form.nitro": "dry",
        "density.uan-28": "10.67 lb/gal",
        "density.foliar": "1.2 kg/l",
    }
    path = tmp_path / "sheet.csv"
    known = read_sheet(path, answers)
    assert known.questions == ()
    assert [offer.form for offer in known.offers] == [
        *(None, None, "liquid", "dry", "liquid", "liquid", "liquid")
    ]
    # 1.2 kg/l × 3.785411784 l/gal / 0.45359237 kg/lb = 10.0145 lb/gal
    assert known.offers[5].density_lb_gal == pytest.approx(10.0145, abs=1e-4)
    assert prices(known)[6] == ("Foliar", "2.5 gal", 19.0, "each", None)
    unknown = read_sheet(path, {**answers, "form.nitro": "not known", "density.foliar": "not known"})
    assert [offer.product for offer in unknown.offers] == ["Urea", "Turf blend", "UAN 28", "UAN 28"]
    assert left(unknown) == ["row 6", "row 8", "row 9"]
    with pytest.raises(InputError, match=r"density\.foliar"):
        read_sheet(path, {**answers, "density.foliar": "heavy"})


def test_two_prices_in_a_row_are_two_offers(tmp_path: Path) -> None:
    by_size = sheet(tmp_path, "Product,Analysis,Price per 50 lb bag,Price per ton", "Mix,10-10-10,16.50,560")
    assert prices(by_size) == [("Mix", "50 lb", 16.5, "bag", None), ("Mix", None, 560.0, "ton", None)]
    by_way = sheet(
        tmp_path, "Material;Analysis;$ per ton picked up;$ per ton delivered", "Urea;46-0-0;560;575"
    )
    assert prices(by_way) == [
        ("Urea", None, 560.0, "ton", "picked up"),
        ("Urea", None, 575.0, "ton", "delivered"),
    ]


def test_a_charge_is_read_or_left_out_by_name_never_dropped(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Prices effective January 5 2026,,",
        "Item,Analysis,Price per ton",
        "DAP,18-46-0,$782.00",
        "Spreading: $7.00/acre. Delivery: $4.00/mile one way. Bag surcharge $1.50 each.,,",
        "Minimum order 3 tons. Tote deposit $150. Terms cash.,,",
    )
    assert prices(contents) == [("DAP", None, 782.0, "ton", None)]
    assert contents.charges == {"spreading": "7.00 per acre", "delivery": "4.00 per mile one way"}
    assert left(contents) == ["'Bag surcharge $1.50 each'", "'Minimum order 3 tons'", "'Tote deposit $150'"]


def test_a_sentence_split_by_its_own_commas_is_no_product(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Product,Grade,Price,Unit",
        "Urea,46-0-0,612,ton",
        "Delivery is $3.50 per loaded mile, minimum $75.,,",
        "Custom application $8.75 per acre; spreader rental $6 per ton, $50 minimum.,,",
        "Fuel surcharge of 4% applies to all deliveries.,,,",
    )
    assert [one.product for one in contents.offers] == ["Urea"]
    assert contents.charges == {
        "delivery": "3.50 per loaded mile",
        "application": "8.75 per acre",
        "spreader_rental": "6 per ton",
    }
    assert sorted(left(contents)) == [
        "'$50 minimum'",
        "'Fuel surcharge of 4% applies to all deliveries'",
        "'minimum $75'",
    ]


def test_a_charge_in_euros_behind_the_figure(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Landhandel Beispiel (erfunden)",
        "Artikel;Gehalt;Gebinde;Preis €/dt",
        "KAS;27-0-0;lose;36,50",
        "Zuschlag für Kleinmengen 1,80 €",
    )
    assert prices(contents) == [("KAS", "bulk", 36.5, "dt", None)]
    assert (contents.currency, left(contents)) == ("EUR", ["'Zuschlag für Kleinmengen 1,80 €'"])


def test_the_last_day_of_prices_is_not_the_day_they_are_of(tmp_path: Path) -> None:
    table = ("Product,Analysis,$/ton", "Urea,46-0-0,560")
    assert sheet(tmp_path, "Price list - valid thru 3/31/2026,,", *table).priced_on is None
    began = sheet(tmp_path, "Prices of 2/3/2026 valid until 3/31/2026,,", *table)
    assert began.priced_on == dt.date(2026, 2, 3)


def test_a_quarrys_score_is_not_its_name(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path, "Load #,Date,Material,Net Lbs", "1,10/14/2025,Pelletized lime ECC 90%,4020", "RNV 67,,,"
    )
    assert (contents.kind, contents.seller) == ("lime tickets", None)
    assert contents.product is not None
    assert dict(contents.product.analysis) == {"ecc": 90.0, "rnv": 67.0}
    assert [load.net_tons for load in contents.deliveries] == [2.01]  # 4020 lb / 2000


def test_a_guarantee_in_a_sentence_is_told(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Ticket No;Date;Product;Gross kg;Tare kg;Net kg",
        "8801;12.03.2026;Kalk;28440;12020;16420",
        "Neutralizing value 50 % CaO and moisture 4 % at most",
    )
    assert left(contents) == ["'Neutralizing value 50 % CaO and moisture 4 % at most'"]
    assert [load.net_t for load in contents.deliveries] == [16.42]


@pytest.mark.parametrize(
    "title",
    [
        "Ogeechee Farm Supply (invented) - Price sheet effective 11/20/2026",
        "Ogeechee Farm Supply (invented), fall prices",
        "Ogeechee Farm Supply (invented)",
    ],
)
def test_the_seller_is_the_same_whatever_day_its_prices_are_of(tmp_path: Path, title: str) -> None:
    """The failing case: December's sheet was another seller's, and November's prices stayed beside it."""
    path = tmp_path / "prices.csv"
    quoted = f'"{title}"'
    path.write_text(f"{quoted},,,\nProduct,Analysis,Unit,Price\nUrea,46-0-0,ton,$610.00\n", encoding="utf-8")
    contents = read_sheet(path)
    assert contents.seller == "Ogeechee Farm Supply (invented)"


def test_what_tickets_say_beside_their_loads_is_taken_or_named(tmp_path: Path) -> None:
    """A score and a moisture that every ticket repeats are the lime's; a price is named, not lost."""
    contents = sheet(
        tmp_path,
        "Savannah Ridge Quarry (invented),,,,,,,",
        "Ticket,Date,Product,ECCE %,Moisture %,Gross lb,Tare lb,Net lb,Price per ton",
        "55231,2026-04-20,Ag lime,62,4.5,51340,26900,24440,18.50",
        "55232,2026-04-21,Ag lime,62,5.5,51300,26900,24400,18.50",
    )
    assert contents.product is not None
    assert contents.product.analysis == {"ecce": 62.0}
    assert [one.where for one in contents.left_out] == ["'Moisture %'", "'Price per ton'"]
    assert [one.net_tons for one in contents.deliveries] == [12.22, 12.2]


#: 51,000 less 19,800 is 31,200 lb, 15.60 tons of 2,000 lb; the slip's own net is 200 lb more.
WRONG_NET = (
    "Ticket,Date,Product,Gross lb,Tare lb,Net lb,Net tons",
    "10233,2026-10-13,Lime,51000,19800,31400,15.70",
)


def test_a_net_weight_that_is_not_gross_less_tare_is_asked_with_both(tmp_path: Path) -> None:
    (asked,) = sheet(tmp_path, *WRONG_NET).questions
    assert asked.id == "weight.10233"
    assert asked.choices == ("15.7 tons", "15.6 tons", "<net weight, as 15.6 tons>", "not known")


@pytest.mark.parametrize(
    ("answer", "tons", "tonnes"),
    [
        ("15.6 tons", 15.6, None),
        ("15.7 tons", 15.7, None),
        ("31200 lb", 15.6, None),
        ("14.15 t", None, 14.15),
        ("not known", None, None),
    ],
)
def test_the_answer_to_a_weight_is_what_the_load_weighs(
    tmp_path: Path, answer: str, tons: float | None, tonnes: float | None
) -> None:
    """The failing case: every answer was accepted, and the wrong net of the slip stayed."""
    (load,) = sheet(tmp_path, *WRONG_NET, answers={"weight.10233": answer}).deliveries
    assert (load.net_tons, load.net_t) == (pytest.approx(tons), pytest.approx(tonnes))


@pytest.mark.parametrize("answer", ["banana", "15.6", "15.6 acres", "-3 tons", "0 lb", "as printed"])
def test_a_word_that_is_no_weight_is_refused(tmp_path: Path, answer: str) -> None:
    with pytest.raises(InputError, match="is no answer to the question"):
        sheet(tmp_path, *WRONG_NET, answers={"weight.10233": answer})


def test_a_net_weight_without_a_unit_offers_both_tons(tmp_path: Path) -> None:
    lines = ("Ticket,Date,Product,Net", "7,2026-10-13,Lime,14.2")
    (asked,) = sheet(tmp_path, *lines).questions
    assert asked.choices[:2] == ("14.2 tons", "14.2 t")
    (load,) = sheet(tmp_path, *lines, answers={"weight.7": "14.2 t"}).deliveries
    assert (load.net_tons, load.net_t) == (None, pytest.approx(14.2))


def offered(contents: SheetContents) -> list[tuple[object, ...]]:
    return [(one.product, one.price, one.per, one.package) for one in contents.offers]


def test_a_unit_column_says_what_a_price_per_unit_is_for(tmp_path: Path) -> None:
    """Each of the bags and tons was priced alike, and the grades were lost: nobody knew N-P-K-S."""
    contents = sheet(
        tmp_path,
        "Dealer: Ridge Co-op (invented)",
        "Product,N-P-K-S,Unit,$/unit,Shelf",
        "Urea,46-0-0-0,ton,612.00,A",
        "AMS,21-0-0-24,ton,458,B",
        "MAP,11-52-0,50 lb bag,31.50,B",
        "Delivery,,flat,75,",
    )
    assert offered(contents) == [
        ("Urea", 612.0, "ton", None),
        ("AMS", 458.0, "ton", None),
        ("MAP", 31.5, "bag", "50 lb"),
    ]
    assert (contents.offers[1].analysis["n"], contents.offers[1].analysis["s"]) == (21.0, 24.0)
    assert [one.what for one in contents.left_out] == [
        "a charge: enter it by hand",
        "a column whose heading is not understood",
    ]


def test_an_items_description_is_its_name(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Item,Description,Weight (lb),Price each",
        "1001,Urea 46-0-0,50,28.99",
        "1002,Pelletized lime (90% CCE),40,5.49",
    )
    assert offered(contents) == [
        ("Urea 46-0-0", 28.99, "each", "50 lb"),
        ("Pelletized lime (90% CCE)", 5.49, "each", "40 lb"),
    ]
    assert contents.offers[1].analysis == {"cce": 90.0}


def test_a_bare_date_over_a_manure_is_asked_what_it_is_of(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Date,Total solids %,TKN lb/1000 gal,NH4-N lb/1000 gal,P2O5 lb/1000 gal,K2O lb/1000 gal",
        "Pit 2,3/14/2026,6.1,42,26,18,31",
    )
    (question,) = contents.questions
    assert question.id == "date-meaning"
    path = tmp_path / "sheet.csv"
    answered = read_sheet(path, {"date-meaning": "the day of sampling"})
    assert [str(one.sampled_on) for one in answered.samples] == ["2026-03-14"]


def test_a_size_stands_in_the_name_or_behind_what_the_package_is_called(tmp_path: Path) -> None:
    named = sheet(
        tmp_path,
        "Item,Description,Price each",
        "1001,Urea 46-0-0 50 lb bag,28.99",
        "1002,UAN 28-0-0 275 gal tote,895",
        "1003,Pelletized lime 1500 lb ENP/ton,5.49",
    )
    assert [one.package for one in named.offers] == ["50 lb", "275 gal", None]
    german = sheet(
        tmp_path,
        "Produkt;N;P2O5;K2O;Gebinde;Preis je Gebinde",
        "KAS;27;0;0;BigBag 600 kg;198,00",
        "DAP;18;46;0;dt;68,50",
    )
    assert [one.package for one in german.offers] == ["600 kg", "100 kg"]


def test_a_heading_that_is_a_package_stands_over_its_price(tmp_path: Path) -> None:
    """The bag's price became the package of the bulk offer, and what was sold in bags alone had no price."""
    contents = sheet(
        tmp_path,
        "Heron Slough Feed (invented)",
        "Product,Analysis,$/ton bulk,50 lb bag,1 ton tote,Note",
        "Urea,46-0-0,598,17.85,612,",
        "MAP,11-52-0,$845.00,$24.10,,",
        "Coated urea,44-0-0,,33.20,call,",
        "Ammonium sulfate,21-0-0-24S,471,,,out of stock",
    )
    assert contents.questions == ()
    assert prices(contents) == [
        ("Urea", None, 598.0, "ton", "bulk"),
        ("Urea", "50 lb", 17.85, "bag", None),
        ("Urea", "1 ton", 612.0, "tote", None),
        ("MAP", None, 845.0, "ton", "bulk"),
        ("MAP", "50 lb", 24.1, "bag", None),
        ("Coated urea", "50 lb", 33.2, "bag", "1 ton tote: call"),
        ("Ammonium sulfate", None, 471.0, "ton", "bulk"),
    ]


@pytest.mark.parametrize(
    ("headings", "row", "expected"),
    [
        ("Product,Analysis,25 kg,$/1 ton", "DAP,18-46-0,24,700", [("25 kg", "each"), (None, "ton")]),
        ("Product,Analysis,50# bag,$/100 lb", "DAP,18-46-0,24,36", [("50 lb", "bag"), (None, "cwt")]),
        (
            "Product,Analysis,2.5 gal jug,275 gal tote",
            "A,8-0-0,40,980",
            [("2.5 gal", "jug"), ("275 gal", "tote")],
        ),
        ("Product,Analysis,$/ton,Bag", "DAP,18-46-0,$700,$22.50", [(None, "ton"), (None, "bag")]),
    ],
)
def test_other_packages_over_prices(
    headings: str, row: str, expected: list[tuple[str | None, str]], tmp_path: Path
) -> None:
    contents = sheet(tmp_path, headings, row)
    liquid = any("gal" in (package or "") for package, _ in expected)
    assert [question.id for question in contents.questions] == (["density.a"] if liquid else [])
    assert [(one.package, one.per) for one in contents.offers] == expected


def test_figures_without_a_unit_under_bag_are_asked_about(tmp_path: Path) -> None:
    lines = ("Product,Analysis,Bag,$/ton", "Urea,46-0-0,40,598", "MAP,11-52-0,50,845")
    (question,) = sheet(tmp_path, *lines).questions
    assert question.about == "whether the figures under 'Bag' are prices or sizes"
    assert question.choices == ("prices", "lb", "kg", "gal", "not known")
    path = tmp_path / "sheet.csv"
    assert [(one.package, one.price) for one in read_sheet(path, {question.id: "lb"}).offers] == [
        ("40 lb", 598.0),
        ("50 lb", 845.0),
    ]
    assert [(one.per, one.price) for one in read_sheet(path, {question.id: "prices"}).offers] == [
        ("bag", 40.0),
        ("ton", 598.0),
        ("bag", 50.0),
        ("ton", 845.0),
    ]


def test_a_bag_that_its_row_calls_another_is_asked_about(tmp_path: Path) -> None:
    lines = ("Product,Analysis,50 lb bag,Note", "Urea,46-0-0,17.85,", "Pelletized lime,,5.60,40 lb bag")
    (question,) = sheet(tmp_path, *lines).questions
    assert question.choices == ("40 lb", "50 lb", "not known")
    found = read_sheet(tmp_path / "sheet.csv", {question.id: "40 lb"})
    assert [(one.package, one.price) for one in found.offers] == [("50 lb", 17.85), ("40 lb", 5.6)]


def test_a_density_stands_with_its_unit_in_the_cell_or_the_heading(tmp_path: Path) -> None:
    """Without it a price per gallon has no pounds; a liquid by the gallon was read as dry."""
    contents = sheet(
        tmp_path,
        "product,analysis,unit,price,density",
        "UAN 28,28-0-0,gal,1.71,10.67 lb/gal",
        "UAN 32,32-0-0,ton,421,11.06 lb/gal",
        "Thiosulfate,12-0-0-26S,gal,2.10,1.33 kg/L",
        "Starter,10-34-0,gal,4.20,",
        "Urea,46-0-0,ton,598,heavy",
    )
    assert [question.id for question in contents.questions] == ["density.starter"]
    assert [(one.form, one.density_lb_gal, one.density_kg_l) for one in contents.offers] == [
        ("liquid", 10.67, None),
        ("liquid", 11.06, None),
        ("liquid", None, 1.33),
        ("liquid", pytest.approx(11.65), None),  # likely, as published of 10-34-0 in materials.csv
        (None, None, None),
    ]
    assert left(contents) == ["row 6, 'heavy'"]


def test_a_density_without_a_unit_is_asked_its_unit(tmp_path: Path) -> None:
    lines = ("product,analysis,package,price each,density", "UAN,28-0-0,275 gal tote,470,10.67")
    (question,) = sheet(tmp_path, *lines).questions
    assert question.choices == ("lb/gal", "kg/L", "not known")
    (offer,) = read_sheet(tmp_path / "sheet.csv", {question.id: "lb/gal"}).offers
    assert (offer.form, offer.density_lb_gal, offer.package) == ("liquid", 10.67, "275 gal")
