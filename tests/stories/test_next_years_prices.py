"""Next year's price list names the product, the package and the price: the label stays as it was read."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import ran_well, run, written
from stories.test_metric_year import hof

from loamwright import files
from loamwright.supplies import Form

__all__ = ["hof"]

LIST = (
    "product;package;price;seller;priced_on\n"
    "Ammonsalpeter 27;25 kg bag;15,80;Laden;04.01.2027\n"
    "kalisalz 60;600 kg bag;410,00;Laden;04.01.2027\n"
)


def test_a_price_list_of_known_products_is_taken_and_their_labels_stay(hof: Path, tmp_path: Path) -> None:
    before = {one.product: one for one in files.load(hof).products}
    told = run("import", hof, written(tmp_path / "preise2027.csv", LIST))
    assert told.code == 0, told.text
    assert not told.says("form")
    record = files.load(hof)
    assert {one.product: one for one in record.products} == before
    prices = {(one.product, one.package): float(one.price or 0) for one in record.offers}
    assert prices["Ammonsalpeter 27", "25 kg bag"] == 15.8
    assert prices["Kalisalz 60", "600 kg bag"] == 410
    assert prices["Kalisalz 60", "25 kg bag"] == 19.8


def test_what_the_list_states_of_a_known_label_is_taken_and_an_unknown_one_is_asked_for(
    hof: Path, tmp_path: Path
) -> None:
    more = written(
        tmp_path / "more.csv", "product;s;package;price;seller\nAmmonsalpeter 27;4;25 kg bag;15;L\n"
    )
    assert run("import", hof, more).code == 0
    label = next(one for one in files.load(hof).products if one.product == "Ammonsalpeter 27")
    assert {str(name): share for name, share in label.analysis_pct.items() if share} == {"N": 27, "S": 4}
    assert label.form is Form.DRY
    strange = written(tmp_path / "strange.csv", LIST + "Harnstoff 46;25 kg bag;22,00;Laden;04.01.2027\n")
    refused = run("import", hof, strange)
    assert refused.code == 2
    assert refused.says("row 4", "no guarantee")
    assert len(files.load(hof).products) == 3


def test_a_ton_of_a_metric_price_list_is_a_tonne(hof: Path, tmp_path: Path) -> None:
    """International tonne, 1,000 kg; the short ton would be 907.18 kg."""
    goods = written(tmp_path / "kalk.csv", "product;form;cce;package;price\nKalk;lime;92;1 ton bulk;38,00\n")
    ran_well("import", hof, goods)
    (offer,) = (one for one in files.load(hof).offers if one.product == "Kalk")
    assert offer.package_kg == pytest.approx(1000, rel=1e-12)
    ran_well("set", hof, "offer", offer.offer_id, "package=2 ton bulk")
    (offer,) = (one for one in files.load(hof).offers if one.product == "Kalk")
    assert offer.package_kg == pytest.approx(2000, rel=1e-12)
