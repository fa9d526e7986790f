"""What the words of many findings share: days and amounts as the plant reads them."""

from typing import Protocol

from scheduler.vocabulary import QuantityKind


class Amounts(Protocol):
    """Whoever writes days and amounts in the plant's zone and units."""

    def date(self, day: float) -> str: ...

    def amount(self, value: float, kind: QuantityKind) -> str: ...

    def dp(self, value_bar: float) -> str: ...

    def vacuum(self, value_bar: float) -> str: ...


def degC(words: Amounts, value_degC: float) -> str:
    """An oil temperature."""
    return words.amount(value_degC, QuantityKind.TEMPERATURE)


def between(words: Amounts, least: float, most: float, kind: QuantityKind) -> str:
    """Two amounts, or one where they read alike."""
    low, high = words.amount(least, kind), words.amount(most, kind)
    return low if low == high else f"{low} to {high}"
