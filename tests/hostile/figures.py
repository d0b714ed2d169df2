"""Figures that are none, in every column, key and option that takes one."""

# ruff: noqa: E501 (a case is a line, and says what it is)

from __future__ import annotations

from collections.abc import Iterator

from hostile.cases import Case

#: Texts that are no figure anywhere: text → a name for the case.
NONE = {
    "inf": "infinity",
    "-Infinity": "minus infinity",
    "NaN": "not a number",
    "1e309": "beyond a double",
    "9" * 400: "400 digits",
    "1e5e5": "two exponents",
    "0x10": "hexadecimal",
    "1_000": "underscore",
    "5 5": "two numbers",
    "1,2,3": "commas",
    "--5": "two signs",
    "10**9": "a power",
    "5+5": "a sum",
    "=1+1": "a formula",
    "\u0663": "an Arabic digit",
    "five": "a word",
}

TESTS = "plot_id,sampled_on,depth,ph,p,p_unit,p_extractant,k,k_unit,k_extractant\n"
PRODUCTS = "product,form,n,p2o5,k2o,enp,density,package,price,seller,in_stock\n"
PLOTS = (
    '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"plot_id":"B-1","crop":"red clover",'
    '"yield_goal":"%s","legume_pct":"%s","season":"%s"},"geometry":{"type":"Polygon","coordinates":'
    "[[[-93.02,46.05],[-93.019,46.05],[-93.019,46.051],[-93.02,46.051],[-93.02,46.05]]]}}]}"
)


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _in_tests(column: str, text: str) -> bytes:
    row = {"plot_id": "A-1", "sampled_on": "2026-03-01", "depth": "0-6 in", "ph": "6.1", "p": "20"}
    row |= {"p_unit": "ppm", "p_extractant": "Bray P1", "k": "100", "k_unit": "ppm"}
    row |= {"k_extractant": "ammonium acetate", column: text}
    return (TESTS + ",".join(_cell(row[name]) for name in TESTS.strip().split(",")) + "\n").encode()


def _in_products(column: str, text: str) -> bytes:
    row = {"product": "Odd 10-10-10", "form": "dry", "n": "10", "p2o5": "10", "k2o": "10", "enp": ""}
    row |= {
        "density": "",
        "package": "50 lb bag",
        "price": "20",
        "seller": "Store",
        "in_stock": "",
        column: text,
    }
    return (PRODUCTS + ",".join(_cell(row[name]) for name in PRODUCTS.strip().split(",")) + "\n").encode()


def _in_plots(column: str, text: str) -> bytes:
    words = {"yield_goal": "2 ton/acre", "legume_pct": "90", "season": "2026", column: text}
    return (PLOTS % tuple(words[name] for name in ("yield_goal", "legume_pct", "season"))).encode()


#: Words typed for one figure; {} is the figure.
TYPED: dict[str, tuple[str, ...]] = {
    "record amount": (
        *("record", "P", "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "{} lb", "--on"),
        *("2026-04-01", "--operator", "Kim"),
    ),
    "record area": (
        *("record", "P", "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "50 lb", "--on"),
        *("2026-04-01", "--operator", "Kim", "--area", "{} acre"),
    ),
    "purchase": ("purchase", "P", "--", "Potash 0-0-60", "{}"),
    "set yield": ("set", "P", "cropping", "A-1", "yield_goal={} ton/acre"),
    "set money per hour": ("set", "P", "settings", "labour_per_hour={}"),
    "add swath": ("add", "P", "spreader", "Cone", "swath={} ft"),
    "add speed": ("add", "P", "spreader", "Cone", "swath=20 ft", "speed={} mph"),
    "project removed": ("project", "P", "A-1", "P2O5", "--removed", "{} lb/acre"),
    "cores": ("sample", "P", "--cores={}"),
    "tailgate width": ("tailgate", "course", "--", "{} in"),
    "tailgate rate": ("tailgate", "rate", "--", "{} lb", "21.8 ft2"),
    "buy restate": ("buy", "restate", "--as", "K2O", "--", "{}", "K"),
    "buy carry": ("buy", "carry", "100", "--months", "6", "--rate", "{} %"),
}


def cases() -> Iterator[Case]:
    """Every text in every place."""
    for text, called in NONE.items():
        for column in ("ph", "p", "k", "depth"):
            yield Case(
                f"soil tests/{column}/{called}",
                ("import", "P", "t.csv"),
                "t.csv",
                {"t.csv": _in_tests(column, text)},
            )
        for column in ("n", "k2o", "price", "package", "density", "in_stock"):
            yield Case(
                f"products/{column}/{called}",
                ("import", "P", "p.csv"),
                "p.csv",
                {"p.csv": _in_products(column, text)},
            )
        for column in ("yield_goal", "legume_pct", "season"):
            yield Case(
                f"boundaries/{column}/{called}",
                ("import", "P", "b.geojson"),
                "b.geojson",
                {"b.geojson": _in_plots(column, text)},
            )
        for place, words in TYPED.items():
            yield Case(
                f"typed/{place}/{called}", tuple(word.replace("{}", text) for word in words), text[:20]
            )
    for year in ("1", "1926", "9999", "10000", "0"):
        yield Case(
            f"boundaries/season/year {year}",
            ("import", "P", "b.geojson"),
            year,
            {"b.geojson": _in_plots("season", year)},
        )
        day = f"{year.zfill(4)}-03-01"
        yield Case(
            f"soil tests/date/year {year}",
            ("import", "P", "t.csv"),
            day,
            {"t.csv": _in_tests("sampled_on", day)},
        )
        yield Case(
            f"typed/record on/year {year}",
            (
                "record",
                "P",
                "--plot",
                "A-1",
                "--product",
                "Potash 0-0-60",
                "--amount",
                "5 lb",
                "--on",
                day,
                "--operator",
                "Kim",
            ),
            day,
        )
