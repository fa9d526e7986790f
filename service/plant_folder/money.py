"""Amounts of money in minor units, with as many decimals as the currency has (ISO 4217)."""

import re

from service.plant_folder.refusals import CellRefused, RefusedThroughout, shown
from service.plant_folder.written_numbers import number_reader

_OTHER_MINOR_DIGITS: dict[str, int] = {
    **dict.fromkeys(
        ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV"), 0
    ),
    **dict.fromkeys(("XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
}
"""ISO 4217:2015, table A.1, column "minor unit", where it is not 2 (from memory)."""

MOST_MINOR_UNITS = 10**15
"""Ours: exact in a double and in a 64-bit integer."""

_CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)
_AMOUNT = {
    ".": re.compile(r"\+?(\d+)(?:\.(\d*))?", re.ASCII),
    ",": re.compile(r"\+?(\d+)(?:,(\d*))?", re.ASCII),
}


def minor_digits(currency: str) -> int:
    """Decimals of a currency; 2 where no currency is known.

    >>> minor_digits("JPY"), minor_digits("EUR"), minor_digits("KWD"), minor_digits("")
    (0, 2, 3, 2)
    """
    return _OTHER_MINOR_DIGITS.get(currency, 2)


def read_currency(text: str) -> str:
    """A currency code. Raises CellRefused."""
    if _CURRENCY.fullmatch(text) is None:
        raise CellRefused(f"'{shown(text)}' is not a currency code of ISO 4217, like EUR")
    return text


def read_money(text: str, currency: str, decimal: str) -> int:
    """The amount in minor units of `currency`. Raises CellRefused, RefusedThroughout for other marks.

    >>> read_money("12.5", "EUR", "."), read_money("1250", "JPY", ".")
    (1250, 1250)
    """
    found = _AMOUNT[decimal].fullmatch(text)
    if found is None:
        raise _not_an_amount(text, decimal)
    whole, fraction = found[1], found[2] or ""
    digits = minor_digits(currency)
    if len(fraction) > digits:
        raise CellRefused(f"'{shown(text)}' has more decimals than {currency or 'money'} has ({digits})")
    if len(whole.lstrip("0")) + digits > len(str(MOST_MINOR_UNITS)) - 1:
        raise CellRefused(f"'{shown(text)}' is more money than can be kept")
    return int(whole + fraction.ljust(digits, "0"))


def _not_an_amount(text: str, decimal: str) -> CellRefused:
    try:
        value = number_reader(decimal)(text)
    except RefusedThroughout as otherwise:
        return otherwise
    except CellRefused:
        return CellRefused(f"'{shown(text)}' is not an amount of money; write it like 12.50, without a sign")
    if value < 0.0:
        return CellRefused(f"'{shown(text)}' is below 0: a price or cost cannot be negative")
    return CellRefused(f"'{shown(text)}' is not an amount of money; write it like 12.50, without a sign")
