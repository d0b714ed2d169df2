"""Purchases and stock: what is in the shed, and what was bought, received, returned or counted."""

from __future__ import annotations

from loamwright import upkeep, work
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, changed, day_of, problems_of
from loamwright.errors import InputError, LoamwrightError, Problem
from loamwright.supplies import Movement
from loamwright.units import read_number
from loamwright.words import earlier_words, not_in_book_words


def show(ask: Ask) -> Reply:
    """Show the shed and its book."""
    return _page(ask)


def _page(ask: Ask, error: LoamwrightError | None = None) -> Shown:
    record = ask.desk.season.record
    problems = problems_of(error) if error else ()
    stock = tuple(work.stock_of(record).values())
    filled = {
        "stock": stock,
        "earlier": [
            f"{one.product}: {earlier_words(one.earlier_kg, record.info.units)}"
            for one in stock
            if one.earlier_kg
        ]
        + [
            f"{one.product}: {not_in_book_words(one.put_on_kg, record.info.units)}"
            for one in work.not_in_book(record)
        ],
        "purchases": tuple(reversed(record.purchases)),
        "offers": record.offers,
        "plan": ask.desk.season.plan,
        "typed": ask.form,
        "today": ask.desk.today.isoformat(),
        "problems": [one for one in problems if not one.question],
        "questions": [one for one in problems if one.question],
    }
    return Shown("app_stock.html", filled, 422 if error else 200)


def buy(ask: Ask) -> Reply:
    """Write a purchase, or a count, down."""
    form = ask.form
    if "leave it" in ask.answers.values():
        return Go("/stock")
    try:
        try:
            kind = Movement(form.get("kind", "bought"))
        except ValueError:
            choices = ", ".join(Movement)
            what = f"{form.get('kind')!r} is no kind of entry"
            raise InputError([Problem("kind", what, f"Use one of: {choices}.")]) from None
        done = upkeep.purchase(
            ask.desk.path,
            form.get("product", ""),
            read_number(form.get("count", "").strip()),
            kind,
            ask.desk.today,
            "",
            package=form.get("package", ""),
            paid=form.get("paid") or None,
            dated=day_of(ask),
            seller=form.get("seller", ""),
            note=form.get("note", ""),
            answers=ask.answers,
        )
    except LoamwrightError as error:
        return _page(ask, error)
    return changed("/stock", done)


ROUTES = (Route("/stock", show, buy),)
