"""What must be known before a job begins: ground, rain, wind, water, lime and urea apart.

Nothing here can be read from the property: weather and ground are seen on the day. So these rows of the
cautions table are not fired but printed before the job they hold for, each with its source and who has the
last word.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from loamwright.supplies import Form, Product
from loamwright.values import Nutrient
from loamwright.work.cautions.facts import CautionText


def _carries(product: Product, nutrient: Nutrient) -> bool:
    return (product.analysis_pct.get(nutrient) or 0.0) > 0


def _is_urea(product: Product) -> bool:
    return product.ingredient == "urea" or (product.nitrogen_forms_pct.get("urea") or 0.0) > 0


#: What each row is about, and for which products it must be known.
_ASKED: tuple[tuple[str, str, Callable[[Product], bool]], ...] = (
    ("C-06", "ground", lambda product: True),
    ("C-07", "rain", lambda product: product.form is Form.DRY),
    ("C-01", "rain on urea", _is_urea),
    ("C-03", "snow", _is_urea),
    ("C-21", "wind and heat", lambda p: p.form is Form.LIQUID and _carries(p, Nutrient.N)),
    (
        "C-30",
        "lime apart from urea, ammonium and phosphate",
        lambda p: p.form is Form.LIME or _carries(p, Nutrient.N) or _carries(p, Nutrient.P2O5),
    ),
)


def before_a_job(
    texts: Mapping[str, CautionText], products: Sequence[Product]
) -> tuple[tuple[str, CautionText], ...]:
    """Say what must be known before a load of these products goes on.

    Parameters
    ----------
    texts
        Rows of the cautions table by rule id.
    products
        What is in the hopper.

    Returns
    -------
    tuple of (str, CautionText)
        What it is about, and the row.
    """
    return tuple(
        (about, texts[rule]) for rule, about, asked in _ASKED if any(asked(product) for product in products)
    )
