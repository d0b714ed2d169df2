"""How the work is done on a property: rates, bands, windows and hopper mates, set, shown and taken back."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pytest

from loamwright import files, supplies, upkeep
from loamwright.errors import InputError
from loamwright.supplies import Form, LimeLabel, MixAnswer, Product
from loamwright.values import MixDecision, Nutrient, OwnWindow, PropertyInfo, Timing, WorkRules

TODAY = dt.date(2026, 4, 20)
UREA = "Urea 46-0-0"
TSP, POTASH, BLEND = "Triple superphosphate 0-46-0", "Potash 0-0-60", "Blend 19-19-19"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    files.create(path, PropertyInfo("Own", 2026))
    labels = {
        UREA: {Nutrient.N: 46.0},
        TSP: {Nutrient.P2O5: 46.0},
        POTASH: {Nutrient.K2O: 60.0},
        BLEND: {Nutrient.N: 19.0, Nutrient.P2O5: 19.0, Nutrient.K2O: 19.0},
    }
    lime = Product("Ag lime", Form.LIME, lime=LimeLabel(ecce_pct=60.0))
    with files.edit(path) as editor:
        editor.put_products([*(Product(name, Form.DRY, label) for name, label in labels.items()), lime])
    return path


def rules(path: Path) -> WorkRules:
    return files.load(path).info.settings.work


def settings(path: Path, *texts: str) -> upkeep.Changed:
    return upkeep.set_fields(path, "settings", "", texts, TODAY, "")


def test_rates_and_bands_are_set_shown_and_taken_back(path: Path) -> None:
    typed = (
        "state=ohio",
        "labour_per_hour=15",
        "minutes_per_stop=12",
        "least_job_share=5 %",
        "spare=3 %",
        "handling.bulk shovelled=12/ton",
        "band.P2O5=95 % to 110 %",
    )
    done = settings(path, *typed)
    found = rules(path)
    assert (found.state, found.labour_per_hour, found.minutes_per_stop) == ("Ohio", Decimal(15), 12)
    assert (found.least_job_share, found.spare) == (0.05, 0.03)
    # A short ton is 2,000 lb of 0.45359237 kg: $12/ton = 12 / 907.18474 dollars per kg.
    assert float(found.handling_per_kg["bulk shovelled"]) == pytest.approx(12 / 907.18474, rel=1e-12)
    assert found.bands == {"P2O5": (0.95, 1.1)}
    shown = {field.name: field.value for field in upkeep.show(path, "settings", None).fields}
    assert (shown["handling.bulk shovelled"], shown["band.P2O5"]) == ("12/ton", "95 % to 110 %")
    (changed,) = [one for one in upkeep.changes(path) if one.change == done.change_id]
    assert ("settings, state", "—", "Ohio") in changed.did
    upkeep.undo(path, done.change_id, TODAY, "")
    assert rules(path) == WorkRules()


def test_a_window_of_ones_own_is_made_changed_and_cleared(path: Path) -> None:
    done = settings(path, "window.spring P=before planting; 04-15 to 05-20; corn; broadcast and incorporate")
    assert done.fields == (
        ("window.spring P", "—", "before planting; 04-15 to 05-20; corn; broadcast and incorporate"),
    )
    expected = OwnWindow(
        Timing.BEFORE_PLANTING, (4, 15), (5, 20), "corn", "spring P", "broadcast and incorporate"
    )
    assert rules(path).windows == (expected,)
    settings(path, "window.spring P=before planting; 04-01 to 05-20")
    (window,) = rules(path).windows
    assert (window.opens, window.crop, window.placement) == ((4, 1), "", "")
    typed = "top-dress; 06-01 to 06-20; any crop; top-dressed; of N; share 60 %"
    settings(path, f"window.June={typed}", "window.late lime=after harvest; 09-01 to 10-31; of lime")
    _spring, june, lime = rules(path).windows
    assert june == OwnWindow(Timing.TOPDRESS, (6, 1), (6, 20), "", "June", "top-dressed", "N", 0.6)
    assert (lime.of, lime.share, lime.crop) == ("lime", None, "")
    shown = {field.name: field.value for field in upkeep.show(path, "settings", None).fields}
    assert shown["window.June"] == typed
    settings(path, "window.June=clear", "window.late lime=clear")
    settings(path, "window.spring P=clear")
    assert rules(path).windows == ()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("state=Texas", "not one of: Arkansas, Delaware"),
        ("band.N=110 % to 120 %", "no band around the need"),
        ("band.N=a lot", "no band"),
        ("handling.bag=5/bag", "not money per ton"),
        ("spare=300 %", "not a possible percent"),
        ("window.x=before planting; 02-30 to 05-20", "'02-30' is not a month and day"),
        ("window.x=some day; 02-20 to 05-20", "not one of"),
        ("window.x=whenever", "no window"),
        ("window.x=top-dress; 06-01 to 06-20; share 50 %", "does not say of what"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(path: Path, typed: str, said: str) -> None:
    before = path.read_bytes()
    with pytest.raises(InputError, match=said):
        settings(path, "labour_per_hour=15", typed)
    assert path.read_bytes() == before


def test_what_no_page_states_is_decided_and_stands(path: Path) -> None:
    done = upkeep.decide_mix(path, f"{BLEND.upper()} + {POTASH}", True, "the seller blends them", TODAY, "")
    assert rules(path).mixing == (MixDecision(BLEND, POTASH, True, "the seller blends them"),)
    record = files.load(path)
    answers = supplies.mixes(record.products, files.load_mixing(), rules(path).mixing)
    (mix,) = [one for one in answers if {one.one, one.other} == {BLEND, POTASH}]
    assert mix.answer is MixAnswer.AT_ONCE
    upkeep.decide_mix(path, f"{POTASH} + {BLEND}", False, "it caked", TODAY, "")  # the newest word holds
    assert rules(path).mixing == (MixDecision(BLEND, POTASH, False, "it caked"),)
    upkeep.undo(path, None, TODAY, "")
    upkeep.undo(path, done.change_id, TODAY, "")
    assert rules(path).mixing == ()


@pytest.mark.parametrize(
    ("pair", "because", "said"),
    [
        # Urea with superphosphates is "incompatible" in SEAP-3024 (IPNI 2013); a habit does not overrule it.
        (f"{UREA} + {TSP}", "we always do", "SEAP-3024.* says no"),
        (f"{UREA} + Ag lime", "why not", "only two different dry products"),
        (f"{UREA} + {UREA}", "why not", "only two different dry products"),
        (f"{UREA} + Ptash 0-0-60", "why not", "Did you mean Potash 0-0-60"),
        (UREA, "why not", "does not name two products"),
        (f"{BLEND} + {POTASH}", " ", "no reason is given"),
    ],
)
def test_a_pair_that_cannot_be_decided_is_refused(path: Path, pair: str, because: str, said: str) -> None:
    before = path.read_bytes()
    with pytest.raises(InputError, match=said):
        upkeep.decide_mix(path, pair, True, because, TODAY, "")
    assert path.read_bytes() == before


def test_a_price_is_read_in_the_currency_and_units_set_beside_it(path: Path) -> None:
    settings(path, "spreading_cost=40 CHF/ha", "hauling=12", "units=metric", "currency=CHF")
    found = files.load(path).info
    assert (found.currency, found.units) == ("CHF", "metric")
    # 1 t = 1,000 kg (SI).
    assert found.settings.spreading_cost_per_ha == 40
    assert float(found.settings.hauling_cost_per_kg) == pytest.approx(12 / 1000, rel=1e-12)
