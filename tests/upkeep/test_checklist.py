"""What is noted for a plan's checklist, by whom, when, and for which plot."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from command_line import planned_property, ran_well

from loamwright import upkeep


def test_a_note_names_who_made_it_and_follows_a_plot_that_is_renamed(tmp_path: Path) -> None:
    own = planned_property(tmp_path)
    ran_well("note", own, "4.8", "wet in May", "--plot", "A-1", "--by", "Ada")
    number = ran_well("note", own, "4.8", "thin stands", "--by", "Bo")["change_id"]
    ran_well("rename", own, "plot", "A-1", "Creek")
    told = {
        (one["plot_id"], one["text"], one["made_by"])
        for one in ran_well("note", own)["entries"]
        if one["text"]
    }
    assert told == {("Creek", "wet in May", "Ada"), ("", "thin stands", "Bo")}
    ran_well("undo", own, number)
    (left,) = [one for one in upkeep.checklist(own) if one.text]
    assert left.plot_id == "Creek"
    assert dt.datetime.fromisoformat(left.made_at).date() == dt.datetime.now().astimezone().date()
    # Nothing is noted any more, so nobody noted it.
    assert {(one.text, one.made_by) for one in upkeep.checklist(own) if one.number == "1.3"} == {("", "")}
