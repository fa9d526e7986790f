"""The door for units: an outside number with its symbol becomes a float in the canonical unit.

The symbols are the closed list in `vocabulary`; pint converts each of them once and the factor is kept, so
text from outside never reaches pint's parser. Pressures are told apart by their zero: a difference has none,
`bar` in an upstream reading is gauge, absolute units need the plant's altitude, vacuum is positive below
atmosphere.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import pint

from scheduler.vocabulary import (
    ABSOLUTE_PRESSURE_SYMBOLS,
    CANONICAL_UNIT,
    GAUGE_ONLY_SYMBOLS,
    UNIT_SYMBOLS,
    QuantityKind,
)

_PINT_EXPRESSION: dict[str, str] = {
    **dict.fromkeys(("bar", "barg", "bara"), "bar"),
    "mbar": "mbar",
    "Pa": "Pa",
    **dict.fromkeys(("kPa", "kPag", "kPaa"), "kPa"),
    **dict.fromkeys(("MPa", "MPag", "MPaa"), "MPa"),
    **dict.fromkeys(("psi", "psig", "psia"), "psi"),
    "inHg": "inch_Hg",
    "mmHg": "millimeter_Hg",
    **dict.fromkeys(("L/min", "l/min", "lpm"), "L/min"),
    "L/h": "L/hour",
    "m3/h": "m**3/hour",
    **dict.fromkeys(("gpm", "gal/min"), "gallon/min"),
    **dict.fromkeys(("gpm_imp", "gal_imp/min"), "imperial_gallon/min"),
    **dict.fromkeys(("L", "l", "dm3"), "L"),
    **dict.fromkeys(("mL", "ml"), "mL"),
    "m3": "m**3",
    "gal": "gallon",
    "gal_imp": "imperial_gallon",
    **dict.fromkeys(("degC", "°C"), "degC"),
    **dict.fromkeys(("degF", "°F"), "degF"),
    "K": "kelvin",
    **dict.fromkeys(("mm2/s", "mm²/s", "cSt"), "mm**2/s"),
    "m2/s": "m**2/s",
    **dict.fromkeys(("kg/m3", "kg/m³"), "kg/m**3"),
    **dict.fromkeys(("kg/L", "kg/l", "kg/dm3"), "kg/L"),
    **dict.fromkeys(("g/cm3", "g/mL", "g/ml"), "g/mL"),
    "lb/ft3": "lb/ft**3",
    **{symbol: symbol for symbol in ("g", "mg", "kg", "oz", "lb", "m", "cm", "mm", "ft", "h", "min", "d")},
    "in": "inch",
    **dict.fromkeys(("um", "µm", "μm"), "um"),
    **{symbol: symbol for symbol in ("week", "month", "year")},
    **dict.fromkeys(("N*m", "Nm", "N·m"), "N*m"),
    "lbf*ft": "lbf*ft",
    "lbf*in": "lbf*inch",
    **dict.fromkeys(("1/mL", "1/ml"), "1/mL"),
    **dict.fromkeys(("1/100mL", "1/100ml"), "1/dL"),
    "ppm": "ppm",
    "mg/kg": "mg/kg",
    "%": "percent",
}

SEA_LEVEL_ATMOSPHERE_BAR = 1.01325


class UnitRefused(ValueError):
    """A unit symbol is missing, unknown, of another dimension, or of another kind of pressure."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """canonical = value · factor + offset."""

    factor: float
    offset: float


@cache
def _registry() -> "pint.UnitRegistry[Fraction]":
    # Fractions keep the exact definitions exact: a foot is 0.3048 m, not 0.30479999999999996
    return pint.UnitRegistry(non_int_type=Fraction, autoconvert_offset_to_baseunit=True)


@cache
def conversion(symbol: str, kind: QuantityKind) -> Conversion:
    """How `symbol` becomes the canonical unit of `kind`, as pint has it. Raises UnitRefused.

    >>> round(conversion("psi", QuantityKind.PRESSURE_DIFFERENCE).factor, 7)  # NIST SP 811, B.8: 6894.757 Pa
    0.0689476
    """
    if symbol not in UNIT_SYMBOLS[kind]:
        raise UnitRefused(_why_refused(symbol, kind))
    ureg = _registry()
    expression = _PINT_EXPRESSION[symbol]
    canonical = _PINT_EXPRESSION[CANONICAL_UNIT[kind]]
    if expression == canonical:
        return Conversion(1.0, 0.0)
    at_zero = ureg.Quantity(Fraction(0), expression).to(canonical).magnitude
    at_one = ureg.Quantity(Fraction(1), expression).to(canonical).magnitude
    return Conversion(float(at_one - at_zero), float(at_zero))


def to_canonical(value: float, symbol: str, kind: QuantityKind, *, altitude_m: float = 0.0) -> float:
    """`value` in `symbol` as a float in the canonical unit of `kind`.

    An absolute pressure becomes gauge by subtracting the standard atmosphere at `altitude_m`.
    Raises UnitRefused for a symbol outside the closed list of the kind, ValueError for a number that
    is not finite.

    >>> round(to_canonical(35.0, "psi", QuantityKind.PRESSURE_DIFFERENCE), 4)
    2.4132
    >>> to_canonical(122.0, "degF", QuantityKind.TEMPERATURE)
    50.0
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a finite number")
    found = conversion(symbol, kind)
    canonical = value * found.factor + found.offset
    if found.offset:
        canonical = round(canonical, 9)  # the offset of degF is a repeating fraction; 122 degF is 50 degC
    if symbol in ABSOLUTE_PRESSURE_SYMBOLS:
        canonical -= atmosphere_bar(altitude_m)
    return canonical


def from_canonical(value: float, symbol: str, kind: QuantityKind) -> float:
    """A canonical float shown in `symbol`; absolute units are for input only."""
    if symbol in ABSOLUTE_PRESSURE_SYMBOLS:
        raise UnitRefused(f"'{symbol}' is absolute; values are shown as gauge")
    found = conversion(symbol, kind)
    return (value - found.offset) / found.factor


def atmosphere_bar(altitude_m: float) -> float:
    """Standard atmosphere at a height above sea level, −500 to 11,000 m (ISO 2533:1975, troposphere).

    >>> round(atmosphere_bar(0.0), 5), round(atmosphere_bar(1000.0), 4)
    (1.01325, 0.8987)
    """
    if not -500.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude {altitude_m} m is outside -500 to 11000 m")
    return float(SEA_LEVEL_ATMOSPHERE_BAR * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def _why_refused(symbol: str, kind: QuantityKind) -> str:
    expected = f"expected one of: {', '.join(UNIT_SYMBOLS[kind])}"
    if not symbol:
        return f"no unit given; {expected}"
    if kind in {QuantityKind.PRESSURE_DIFFERENCE, QuantityKind.VACUUM}:
        meant = "a pressure difference" if kind is QuantityKind.PRESSURE_DIFFERENCE else "a vacuum below atmosphere"
        if symbol in GAUGE_ONLY_SYMBOLS:
            return f"'{symbol}' is gauge pressure (against atmosphere), but this is {meant}; {expected}"
        if symbol in ABSOLUTE_PRESSURE_SYMBOLS:
            return f"'{symbol}' is absolute pressure (against vacuum), but this is {meant}; {expected}"
    elsewhere = [other for other in QuantityKind if symbol in UNIT_SYMBOLS[other]]
    if elsewhere:
        return f"'{symbol}' measures {elsewhere[0].replace('_', ' ')}, not {kind.replace('_', ' ')}; {expected}"
    near = [known for known in UNIT_SYMBOLS[kind] if known.lower() == symbol.lower()]
    hint = f" (did you mean '{near[0]}'?)" if near else ""
    return f"unknown unit '{symbol}'{hint}; {expected}"
