"""What may share a hopper, against the pages the table cites."""

from __future__ import annotations

import pytest

from loamwright.files import load_mixing
from loamwright.supplies.mixing import MixAnswer, may_mix, mixes, pairs_that_may
from loamwright.supplies.records import Form, Product
from loamwright.values import MixDecision, Nutrient

TABLE = load_mixing()


def dry(name: str, **percent: float) -> Product:
    return Product(name, Form.DRY, {Nutrient(key): value for key, value in percent.items()})


UREA, TSP, MAP = dry("urea", N=46), dry("tsp", P2O5=46), dry("map", N=11, P2O5=52)
DAP, POTASH, AS = dry("dap", N=18, P2O5=46), dry("potash", K2O=60), dry("as", N=21, S=24)
TRIPLE = dry("triple", N=19, P2O5=19, K2O=19)
LIME = Product("lime", Form.LIME)


@pytest.mark.parametrize(
    ("one", "other", "answer"),
    [
        # SEAP-3024, International Plant Nutrition Institute 2013: never urea with TSP; urea with potash is
        # mixed and spread, not stored; potash goes with most fertilizers
        (UREA, TSP, MixAnswer.NO),
        (UREA, POTASH, MixAnswer.AT_ONCE),
        (MAP, POTASH, MixAnswer.YES),
        # urea with DAP: 62 % humidity, under 65 % only when used at once (blender's page)
        (UREA, DAP, MixAnswer.AT_ONCE),
        # nobody read says a word about MAP with ammonium sulfate, nor about a compound
        (MAP, AS, MixAnswer.NOT_STATED),
        (TRIPLE, POTASH, MixAnswer.NOT_STATED),
        # phosphate or ammonium with lime: never
        (MAP, LIME, MixAnswer.NO),
    ],
)
def test_pairs_as_the_pages_say(one: Product, other: Product, answer: MixAnswer) -> None:
    assert may_mix(one, other, TABLE).answer is answer
    assert may_mix(other, one, TABLE).answer is answer


def test_a_decision_settles_what_is_not_stated_and_may_forbid_but_not_allow_what_a_page_forbids() -> None:
    yes = MixDecision("triple", "potash", True, "done for years")
    assert may_mix(TRIPLE, POTASH, TABLE, [yes]).answer is MixAnswer.AT_ONCE
    assert "done for years" in may_mix(TRIPLE, POTASH, TABLE, [yes]).because
    assert may_mix(MAP, POTASH, TABLE, [MixDecision("potash", "map", False)]).answer is MixAnswer.NO
    assert may_mix(UREA, TSP, TABLE, [MixDecision("urea", "tsp", True)]).answer is MixAnswer.NO


def test_deciding_everything_open_still_keeps_apart_what_must_be() -> None:
    found = mixes([UREA, TSP, MAP, AS, LIME], TABLE)
    stated, decided = pairs_that_may(found), pairs_that_may(found, undecided=True)
    assert stated < decided
    assert frozenset(("urea", "tsp")) not in decided
    assert not any("lime" in pair for pair in decided)
