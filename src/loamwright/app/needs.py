"""Needs: what each plot needs of each nutrient and of lime, why, and what is unknown."""

from __future__ import annotations

from loamwright.app.pages import Ask, Reply, Route, Shown

#: Nutrients that have a column of their own.
COLUMNS = ("N", "P2O5", "K2O", "S")


def show(ask: Ask) -> Reply:
    """Show the table, with the math under each figure."""
    return Shown("app_needs.html", {"view": ask.desk.season, "words": ask.desk.words, "columns": COLUMNS})


ROUTES = (Route("/needs", show),)
