"""What the fields of things are called on a page, and how a value of each is written there.

This file answers "what does a person read beside a field?". The fields themselves, and their names on the
command line, are those of `files`.
"""

from __future__ import annotations

import re

#: Names of fields that do not read as words by themselves.
_WORDS = {
    "access": "way in, in words",
    "weight": "how much it matters",
    "narrowest": "narrowest place of the way in",
    "weight_limit": "heaviest vehicle on the way in",
    "months": "months it can be reached",
    "bands": "shares of its needs that count as met",
    "previous_crop": "crop before",
    "previous_stand": "stand of the crop before",
    "yield_goal_how": "how the yield goal was set",
    "legume_pct": "legume in the stand, %",
    "seeding": "year of establishment?",
    "sown_on": "sown on",
    "ended_on": "ended on",
    "load_limit": "heaviest vehicle",
    "swath": "working width",
    "field_efficiency": "effective share of the time",
    "heavy": "goes only where a plot says yes?",
    "fill_minutes": "minutes for one fill",
    "cost_per_area": "cost by area",
    "cost_per_stop": "cost of a stop",
    "cost_per_hour": "cost of an hour",
    "ph": "pH in water",
    "buffer_ph": "buffer pH or index",
    "buffer_method": "buffer used",
    "organic_matter_pct": "organic matter, %",
    "cec": "CEC, meq/100 g",
    "acidity": "exchangeable acidity, meq/100 g",
    "rec_unit": "unit of the lab's rates",
    "rec_lime": "lab's rate of lime",
    "credits_taken": "credits already taken off by the lab?",
    "rates_crop": "crop the lab's rates are for",
    "rates_season": "season the lab's rates are for",
    "ingredient_pct": "share of the ingredient, %",
    "min_rate": "smallest rate",
    "max_rate": "largest rate in one pass",
    "equipment": "machines that can spread it",
    "timing": "when it may be used",
    "contains": "words that call for cautions",
    "bucket": "what a bucket of it holds, weighed",
    "cce": "CCE (calcium carbonate equivalent), %",
    "sieves": "fineness by sieve",
    "moisture": "moisture of the lime, %",
    "enp": "ENP on the label, lb per ton",
    "ecce": "ECCE on the label, %",
    "enm": "ENM on the label, lb per ton",
    "package_mass": "net weight of one package",
    "price_low": "lowest price",
    "price_high": "highest price",
    "priced_on": "day of the price",
    "min_order": "smallest order, packages",
    "max_count": "packages the seller has",
    "delivery_fee": "delivery, once an order",
    "divisible": "sold by weight?",
    "increment": "sold in steps of",
    "dated": "day",
    "paid": "paid in all",
    "made_by": "decided by",
    "about": "in a few words",
    "keeper": "who keeps the property",
    "season_start": "a season begins on",
    "guideline": "guideline edition",
    "lime_guideline": "lime guideline edition",
    "lime_region": "region of the lime table",
    "lime_dose_limit": "how much lime at once",
    "sampling_guide": "sampling advice",
    "cores_per_sample": "cores in one sample",
    "test_age_limit_years": "years a soil test is good for",
    "legume_share_no_n_pct": "legume share from which N is to decide, %",
    "spreading_cost": "cost of spreading by area",
    "spreading_cost_per_pass": "cost of going to a plot once",
    "max_products_per_plot": "most products on one plot at a time",
    "convert_extractants": "convert between soil tests?",
    "default_yield_row": "lowest yield row when no goal is stated?",
    "gps_sigma": "how far off a walked corner is",
    "hauling": "cost of fetching",
    "state": "state whose dates and rules hold",
    "labour_per_hour": "worth of an hour of work",
    "minutes_per_stop": "minutes to get to work on a plot",
    "minutes_per_fill": "minutes to fill a hopper",
    "weighing_out": "worth of not weighing out",
    "least_job_share": "smallest job, share of the need",
    "spare": "bought on top, for spills",
    "cost_per_haul": "cost of one way to a seller and back",
    "haul_load": "what one haul brings",
    "blending": "blending plant and its prices",
    "handled": "how it gets into the hopper",
    "handling.bag": "cost of handling bags",
    "handling.bulk shovelled": "cost of shovelling bulk",
    "handling.bulk by auger": "cost of bulk by auger",
    "handling.spread by the seller": "cost of what the seller spreads",
    "band.*": "band of every other need",
}
#: How a value is written where its kind alone does not say it: in US units, in metric units.
_EXAMPLES = {
    "name": ("North Meadow",) * 2,
    "access": ("by the east gate, then along the fence",) * 2,
    "weight": ("2",) * 2,
    "narrowest": ("10 ft", "3 m"),
    "weight_limit": ("8 ton", "8 t"),
    "load_limit": ("8 ton", "8 t"),
    "width": ("12 ft", "4 m"),
    "area": ("2.5 acres", "1 ha"),
    "crop": ("alfalfa",) * 2,
    "previous_crop": ("soybean",) * 2,
    "previous_stand": ("4 plants/ft2",) * 2,
    "yield_goal": ("3 ton/acre", "7 t/ha"),
    "yield_goal_how": ("mean of five years",) * 2,
    "setback": ("50 ft", "15 m"),
    "hopper": ("100 lb", "50 kg"),
    "vehicle": ("400 lb", "200 kg"),
    "swath": ("20 ft", "6 m"),
    "speed": ("5 mph", "8 km/h"),
    "field_efficiency": ("65 %",) * 2,
    "fill_minutes": ("5",) * 2,
    "cost_per_area": ("6.00/acre", "15.00/ha"),
    "spreading_cost": ("6.00/acre", "15.00/ha"),
    "plot": ("AF-01",) * 2,
    "lab": ("County soil lab",) * 2,
    "depth": ("0-6 in", "0-15 cm"),
    "texture": ("silt loam",) * 2,
    "buffer_method": ("Sikora",) * 2,
    "cec": ("12.5",) * 2,
    "acidity": ("1.5",) * 2,
    "rec_unit": ("lb/acre", "kg/ha"),
    "rec_lime": ("3000 lb ENP/acre", "3 t/ha"),
    "rates_crop": ("alfalfa",) * 2,
    "amount": ("3 ton/acre", "7 t/ha"),
    "material": ("beef",) * 2,
    "ingredient": ("gypsum",) * 2,
    "min_rate": ("25 lb/acre", "30 kg/ha"),
    "max_rate": ("300 lb/acre", "340 kg/ha"),
    "equipment": ("ATV spreader; hand spreader",) * 2,
    "contains": ("borax; zinc sulfate",) * 2,
    "density": ("11.1 lb/gal", "1.33 kg/L"),
    "cce": ("92",) * 2,
    "moisture": ("5",) * 2,
    "enp": ("1200",) * 2,
    "ecce": ("60",) * 2,
    "enm": ("1100",) * 2,
    "package": ("50 lb bag", "25 kg bag"),
    "package_mass": ("50 lb", "25 kg"),
    "increment": ("100 lb", "50 kg"),
    "count": ("12",) * 2,
    "seller": ("Fork Quarry",) * 2,
    "rate": ("40 lb/acre", "45 kg/ha"),
    "supply": ("N",) * 2,
    "share": ("50 %",) * 2,
    "test_age_limit_years": ("4",) * 2,
    "gps_sigma": ("10 ft", "3 m"),
    "hauling": ("12.00/ton", "13.00/t"),
    "handling.bag": ("12.00/ton", "13.00/t"),
    "handling.bulk shovelled": ("12.00/ton", "13.00/t"),
    "handling.bulk by auger": ("4.00/ton", "4.50/t"),
    "handling.spread by the seller": ("0/ton", "0/t"),
    "minutes_per_stop": ("10",) * 2,
    "minutes_per_fill": ("5",) * 2,
}
_SYMBOLS = {"no3_n": "NO3-N", "p2o5": "P2O5", "k2o": "K2O"}
#: Fields that come once for every nutrient or element: a pattern and what it says.
_FAMILIES = (
    (r"rec_(\w+)", "lab's rate of {}"),
    (r"(\w+)_unit", "unit of {}"),
    (r"(\w+)_extractant", "test used for {}"),
    (r"(\w+)_basis", "what the figure of {} is of"),
    (r"available_(\w+)_pct", "{} usable in the first season, %"),
    (r"(\w+)_lb_per_ton", "{}, lb per ton"),
    (r"(urea|nitrate|ammoniacal)_n", "N as {}, %"),
    (r"reach\.(.+)", "can {} get there?"),
    (r"band\.(.+)", "band of {}"),
    (r"mix\.(.+)", "may {} share a hopper?"),
    (r"window\.(.+)", "window of {}"),
    (r"(n|p2o5|k2o|s|ca|mg|b|zn|mn|cu|fe|p|k|no3_n)", "{}"),
)


def label_of(name: str) -> str:
    """Return what a field is called on a page, by its name on the command line.

    Parameters
    ----------
    name
        ``"gps_sigma"``, ``"rec_n"``, ``"reach.lime truck"`` …

    Returns
    -------
    str
    """
    if name in _WORDS:
        return _WORDS[name]
    for pattern, words in _FAMILIES:
        if match := re.fullmatch(pattern, name):
            what = match[1]
            symbol = _SYMBOLS.get(what, what.capitalize() if re.fullmatch(r"[a-z]{1,2}", what) else what)
            return words.format(symbol)
    return name.replace("_", " ")


def example_of(name: str, kind_example: str, metric: bool) -> str:
    """Return how a value of a field is written; empty = any words.

    Parameters
    ----------
    name
        Of the field.
    kind_example
        How values of its kind are written.
    metric
        Whether the property is.

    Returns
    -------
    str
    """
    if name in _EXAMPLES:
        return _EXAMPLES[name][1 if metric else 0]
    if name.endswith("_unit"):
        return "ppm"
    if name.endswith("_extractant"):
        return "Mehlich-3"
    return "" if kind_example in ("words", "text") else kind_example
