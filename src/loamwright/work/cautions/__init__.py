"""Usual cautions: which of them this property's data calls for, with this case's figures.

This file answers "what should someone be warned of, where, and who says so?". One small rule for each
row of ``data/cautions.csv`` that the data can express, grouped by topic in the files beside this one;
the rows it cannot express are in `NOT_TRIGGERABLE`, with the reason. A rule speaks once for a product,
naming every plot it applies to. The rows' texts are handed in (`reference` reads them).

A caution is advice. The last word is with whom the row defers to: local rule, label, licensed practice.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from loamwright.land import Cropping, PlotArea
from loamwright.needs import PlotNeeds
from loamwright.planning import Plan
from loamwright.supplies import MixTable
from loamwright.work.cautions import field_work, ground, limes, materials, nitrogen, soil_tests
from loamwright.work.cautions.facts import CautionText, Rule, open_case
from loamwright.work.records import Caution, PropertyRecord

__all__ = ["LEVELS", "NOT_TRIGGERABLE", "RULES", "CautionText", "fire"]

#: Levels, most serious first.
LEVELS = ("stop", "care", "note")

#: Every rule by its id, in the order of the table.
RULES: Mapping[str, Rule] = dict(
    sorted(
        (
            *nitrogen.RULES.items(),
            *ground.RULES.items(),
            *soil_tests.RULES.items(),
            *limes.RULES.items(),
            *materials.RULES.items(),
            *field_work.RULES.items(),
        )
    )
)

#: Rows of the table that no rule can fire for yet, and why.
NOT_TRIGGERABLE: Mapping[str, str] = {
    "C-08": "manure and compost entries carry no weather forecast",
    "C-39": "seed and its treatment are not in the property file",
    "C-40": "the property file holds neither slopes nor a machine's slope limit",
    "C-46": "soil tests do not say how many cores were taken",
}


def fire(
    texts: Mapping[str, CautionText],
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    croppings: Mapping[str, Cropping],
    needs: Mapping[str, PlotNeeds],
    plan: Plan | None,
    on_date: dt.date,
    mixing: MixTable,
) -> tuple[Caution, ...]:
    """Return the cautions that the data calls for.

    Parameters
    ----------
    texts
        Rows of the table by rule id.
    record
        What the property file holds.
    areas, croppings, needs
        By plot_id; croppings of the current season.
    plan
        The newest plan, or None. Lines already done raise no caution about doing them.
    on_date
        Date the question is asked.
    mixing
        The published pairs that may or may not share a hopper.

    Returns
    -------
    tuple of Caution
        The most serious first, then in the order of the table; one for each rule and product.
    """
    case = open_case(record, areas, croppings, needs, plan, on_date, mixing)
    cautions: list[Caution] = []
    for rule_id, rule in RULES.items():
        text = texts[rule_id]
        cautions.extend(
            Caution(
                rule=rule_id,
                level=text.level,
                text=f"{finding.detail} {text.text}",
                where=finding.where,
                product=finding.product,
                source=text.source,
                defers_to=text.defers_to,
                published=text.published,
                readers=text.readers,
                line=text.line,
            )
            for finding in rule(case, text)
        )
    return tuple(sorted(cautions, key=lambda caution: LEVELS.index(caution.level)))
