"""In which money is an answer told, and with which sign?

Every price of a property is in one currency, its setting `currency`. Amounts travel as plain `Decimal`; only
the sign they are shown with hangs on the property. It is said once, when the property is read, and holds for
that answer alone: a context of its own per command and per page. No figure depends on it.
"""

from __future__ import annotations

from contextvars import ContextVar
from decimal import Decimal

#: What a property uses that does not say, and an answer without a property (ISO 4217).
USUAL = "USD"

#: Signs people write before an amount, by ISO 4217 code; any other currency shows its code. Common practice.
SIGNS = {"USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "EUR": "€", "GBP": "£", "JPY": "¥", "INR": "₹"}

_told_in: ContextVar[str] = ContextVar("currency", default=USUAL)


def tell_money_in(currency: str) -> None:
    """Show amounts in this currency from here to the end of the answer.

    Parameters
    ----------
    currency
        ISO 4217 code.
    """
    _told_in.set(currency)


def currency_told() -> str:
    """Return the currency amounts are shown in.

    Returns
    -------
    str
        ISO 4217 code.
    """
    return _told_in.get()


def money_sign() -> str:
    """Return what stands before an amount, and in units of price.

    Returns
    -------
    str
        ``"$"``, ``"€"``, ``"SEK"``.
    """
    return SIGNS.get(_told_in.get(), _told_in.get())


def format_money(amount: Decimal | float, digits: int = 2) -> str:
    """Write money with the sign of the property's currency.

    Parameters
    ----------
    amount
        Money.
    digits
        Decimals shown.

    Returns
    -------
    str

    Examples
    --------
    >>> format_money(Decimal("1250.5"))
    '$1,250.50'
    """
    sign = money_sign()
    return f"{sign}{' ' if sign[-1].isalpha() else ''}{amount:,.{digits}f}"
