"""Products and prices, and what is the better buy at the store."""

from __future__ import annotations

from loamwright import files, supplies
from loamwright.app.pages import Ask, Reply, Route, Shown, problems_of
from loamwright.errors import LoamwrightError, Problem
from loamwright.supplies import Offer
from loamwright.units import LB_KG


def show(ask: Ask) -> Reply:
    """List products as their labels say, and the offers of each."""
    record = ask.desk.season.record
    offers: dict[str, list[Offer]] = {product.product: [] for product in record.products}
    for offer in record.offers:
        offers.setdefault(offer.product, []).append(offer)
    return Shown("app_products.html", {"products": record.products, "offers": offers})


def store(ask: Ask) -> Reply:
    """Compare offers by the price of a pound of each nutrient."""
    prices = files.price_list(ask.desk.path)
    per_kg = LB_KG if prices.units == "us" else 1.0
    rows = supplies.compare(prices.products, prices.offers).offers if prices.offers else ()
    asked, answer = ask.query, None
    problems: tuple[Problem, ...] = ()
    if asked.get("offer") and asked.get("nutrient"):
        try:
            nutrient = supplies.parse_supply(asked["nutrient"])
            cost = supplies.parse_cost(asked["price"]) if asked.get("price") else None
            answer = supplies.break_even(
                prices, asked["offer"], nutrient, asked.get("against") or None, None, cost
            )
        except LoamwrightError as error:
            problems = problems_of(error)
    filled = {"rows": rows, "per_kg": per_kg, "asked": asked, "answer": answer, "problems": problems}
    return Shown("app_store.html", filled, 422 if problems else 200)


ROUTES = (Route("/products", show), Route("/store", store))
