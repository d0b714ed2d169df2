"""Which problem of a file is shown with which plot."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st
from places import NOWHERE

from loamwright.commands import data as data_view
from loamwright.errors import Problem
from loamwright.files import Measured
from loamwright.land import Plot, PlotArea

#: Ids and names as awkward as people write them, alone and inside a place.
WORDS = st.text(alphabet="aA1- _().ö/", min_size=1, max_size=5)


@given(
    st.lists(st.tuples(WORDS, WORDS), min_size=1, max_size=8, unique_by=lambda pair: pair[0]),
    st.lists(st.lists(WORDS, max_size=5), max_size=8),
    st.data(),
)
@settings(max_examples=300, deadline=None)
def test_a_problem_stands_with_the_plots_it_names(
    named: list[tuple[str, str]], places: list[list[str]], data: st.DataObject
) -> None:
    """By its id as a whole word, a hyphen being part of a word, or by its name in brackets."""
    plots = tuple(Plot(plot_id, name, NOWHERE) for plot_id, name in named)
    words = st.sampled_from(
        [*(pair[0] for pair in named), *(f"({pair[1]})" for pair in named), " ", "-", "x"]
    )
    wheres = ["".join(place) + "".join(data.draw(st.lists(words, max_size=4))) for place in places]
    problems = tuple(Problem(where, str(n), "") for n, where in enumerate(wheres))
    areas = {plot.plot_id: PlotArea(plot.plot_id, 1.0, 1.0, 4.0, None) for plot in plots}
    told = data_view.of(Measured(plots, areas, problems))
    for plot, row in zip(plots, told["plots"], strict=True):
        word = rf"(?<![\w-]){re.escape(plot.plot_id)}(?![\w-])"
        expected = [p.what for p in problems if f"({plot.name})" in p.where or re.search(word, p.where)]
        assert [problem["what"] for problem in row["problems"]] == expected
