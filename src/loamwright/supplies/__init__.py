"""What is in the package, and what does it cost?

The rooms: `records` (labels and offers), `ingredients`, `lime_score`, `products` (label arithmetic),
`seed`, `blends`, `costs`, and the questions of somebody who stands in a store: `shopping` (which is the
better buy, how much of it), `label_questions` (what do these figures come to), `asking` (reading what was
asked).
"""

from loamwright.supplies.asking import (
    over_zero,
    parse_basis,
    parse_cost,
    parse_lime_need,
    parse_named_rate,
    parse_part,
    parse_price_per_area,
    parse_price_per_mass,
    parse_reference,
    parse_seed_rate,
    parse_supply,
)
from loamwright.supplies.blends import blend
from loamwright.supplies.costs import DeliveredCost
from loamwright.supplies.ingredients import Acidity, add_up
from loamwright.supplies.label_questions import (
    LimeAnswer,
    LimeQuestion,
    Mixture,
    SeedAnswer,
    SeedTag,
    find_materials,
    formulate,
    lime_worth,
    live_seed,
    mix,
)
from loamwright.supplies.lime_score import (
    DOSE_LIMITS,
    SAME_SEASON,
    LimeDoses,
    LimeOffer,
    LimeScore,
    dose_limit,
)
from loamwright.supplies.products import (
    Comparison,
    OfferComparison,
    check_offer,
    check_product,
    compare,
    nitrogen_acidity,
    nutrient_fractions,
    supply_fractions,
)
from loamwright.supplies.records import Form, KnownMaterial, LimeLabel, Offer, Product
from loamwright.supplies.shopping import (
    AmountNeeded,
    BreakEven,
    Charges,
    PriceList,
    Reference,
    Valued,
    amount,
    break_even,
    value,
)
from loamwright.supplies.stock import Movement, Stock, StockEntry, Used, stock

__all__ = [
    "DOSE_LIMITS",
    "SAME_SEASON",
    "Acidity",
    "AmountNeeded",
    "BreakEven",
    "Charges",
    "Comparison",
    "DeliveredCost",
    "Form",
    "KnownMaterial",
    "LimeAnswer",
    "LimeDoses",
    "LimeLabel",
    "LimeOffer",
    "LimeQuestion",
    "LimeScore",
    "Mixture",
    "Movement",
    "Offer",
    "OfferComparison",
    "PriceList",
    "Product",
    "Reference",
    "SeedAnswer",
    "SeedTag",
    "Stock",
    "StockEntry",
    "Used",
    "Valued",
    "add_up",
    "amount",
    "blend",
    "break_even",
    "check_offer",
    "check_product",
    "compare",
    "dose_limit",
    "find_materials",
    "formulate",
    "lime_worth",
    "live_seed",
    "mix",
    "nitrogen_acidity",
    "nutrient_fractions",
    "over_zero",
    "parse_basis",
    "parse_cost",
    "parse_lime_need",
    "parse_named_rate",
    "parse_part",
    "parse_price_per_area",
    "parse_price_per_mass",
    "parse_reference",
    "parse_seed_rate",
    "parse_supply",
    "stock",
    "supply_fractions",
    "value",
]
