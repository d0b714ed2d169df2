"""What does one text of a sheet say: a heading, a unit, a figure, a date, a guarantee?

The rooms, each on top of those before it: `vocabulary` (the tables of words and how they are found),
`measures` (units), `calendar_dates`, `figures` (one cell), `depths`, `headings` (one column), `guarantees`
(grades and lime scores).
"""

__all__: list[str] = []
