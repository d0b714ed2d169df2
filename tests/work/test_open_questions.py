"""What a plan costs as decided, and with what is still open, by hand."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace

from loamwright.supplies import Mix, MixAnswer
from loamwright.values import MixDecision, Timing
from loamwright.work import ChoiceRow, MixRow, mix_rows, totals_of

OPEN = ChoiceRow("a", "N", True, 50.0, None, 50.0, Decimal(40), "", "")
RANGE = ChoiceRow("b", "N", True, None, None, 60.0, Decimal(30), "", "", (0.0, 60.0))
MADE = ChoiceRow("c", "N", False, 50.0, 50.0, 50.0, Decimal(99), "", "")
UNSOLD = ChoiceRow("d", "N", True, 50.0, None, 50.0, None, "", "")
ROWS = (OPEN, RANGE, MADE, UNSOLD)


def test_what_is_open_comes_on_top_of_what_is_decided() -> None:
    # 100 for what is decided (the row already made among it), 40 and 30 for what is open
    assert totals_of(Decimal(100), ROWS) == (Decimal(100), Decimal(170))


def test_a_plan_of_published_figures_holds_them_already_but_no_ranges() -> None:
    # 100 with the published 40 in it: 60 is decided; the range of 30 is still to come
    assert totals_of(Decimal(100), ROWS, {("a", "N")}) == (Decimal(60), Decimal(130))


def test_nothing_open_is_one_figure_twice() -> None:
    assert totals_of(Decimal(100), (MADE,)) == (Decimal(100), Decimal(100))


def a_line(plot_id: str, product: str, job_id: str, timing: Timing | None = None) -> SimpleNamespace:
    return SimpleNamespace(plot_id=plot_id, product=product, job_id=job_id, timing=timing)


def test_a_pair_is_asked_about_where_it_costs_trips() -> None:
    """Two plots get A and B in trips of their own, one gets them in one trip, one at two times: two trips.

    On p1 the trips cost 20 and 25, on p2 31 and 28: mixed, one of each is made, 20 + 28 = 48 are saved.
    """
    lines = (
        *(a_line("p1", "A", "j1"), a_line("p1", "B", "j2")),
        *(a_line("p2", "B", "j3"), a_line("p2", "A", "j4")),
        *(a_line("p3", "A", "j5"), a_line("p3", "B", "j5")),
        *(a_line("p4", "A", "j6", Timing.AT_PLANTING), a_line("p4", "B", "j7", Timing.BEFORE_PLANTING)),
        *(a_line("p5", "A", "j8"), a_line("p5", "C", "j9")),
    )
    decided = (MixDecision("A", "D", may=False, reason="it caked"),)
    settings = SimpleNamespace(work=SimpleNamespace(mixing=decided))
    record = SimpleNamespace(info=SimpleNamespace(settings=settings))
    answers = (
        Mix("A", "B", MixAnswer.NOT_STATED, "no page read names B", None),
        Mix("A", "C", MixAnswer.NO, "a page says no", None),
        Mix("A", "D", MixAnswer.NO, "decided for this property: it caked", None),
        Mix("B", "C", MixAnswer.NOT_STATED, "no page read names B", None),
    )
    costs = {"j1": 20, "j2": 25, "j3": 31, "j4": 28}
    ids = sorted({line.job_id for line in lines})
    jobs = [SimpleNamespace(job_id=one, cost=Decimal(costs.get(one, 99))) for one in ids]
    view = SimpleNamespace(plan=SimpleNamespace(lines=lines, jobs=jobs), record=record)
    asked, made = mix_rows(view, answers)  # type: ignore[arg-type]
    assert asked == MixRow("A", "B", True, None, "no page read names B", ("p1", "p2"), Decimal(48))
    assert made == MixRow("A", "D", False, False, "it caked", ())
    unplanned = SimpleNamespace(plan=None, record=record)
    assert mix_rows(unplanned, answers) == (made,)  # type: ignore[arg-type]
