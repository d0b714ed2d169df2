"""What is said of the needs that another soil test could change.

The lime of plot A-1 is more than one pass should carry, so it is to decide until a dose rule is chosen.
"""

from __future__ import annotations

from pathlib import Path

from command_line import planned_property, ran_well, run


def test_a_need_still_to_decide_is_named_as_not_compared(tmp_path: Path) -> None:
    """The failing case: "None: no need turns", though lime to decide did turn at the next tenth of pH."""
    path = planned_property(tmp_path)
    assert ran_well("why", path, "--ask", "tests")["not_compared"] == []
    ran_well("set", path, "settings", "lime_dose_limit=clear")
    planned = run("plan", str(path), as_json=False).text
    told = "Not compared while still to decide, though a figure may turn them: A-1 lime."
    assert "no need that is worked out turns" in planned
    assert told in planned
    assert ran_well("why", path, "--ask", "tests")["not_compared"] == [{"plot_id": "A-1", "supply": "lime"}]
    assert told in run("why", str(path), "--ask", "tests", as_json=False).text
