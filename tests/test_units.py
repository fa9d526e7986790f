"""The door for units, against NIST SP 811 and against pint's own parser."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.units import UnitRefused, atmosphere_bar, conversion, from_canonical, to_canonical
from scheduler.vocabulary import (
    ABSOLUTE_PRESSURE_SYMBOLS,
    CANONICAL_UNIT,
    FIELD_SUFFIX,
    UNIT_SYMBOLS,
    QuantityKind,
)

K = QuantityKind
PINT = pint.UnitRegistry()

# NIST SP 811 (2008), appendix B.8, conversion factors to SI, seven digits; from memory
NIST = [
    (K.PRESSURE_DIFFERENCE, "psi", 6.894757e3 / 1e5),
    (K.PRESSURE_DIFFERENCE, "inHg", 3.386389e3 / 1e5),
    (K.PRESSURE_DIFFERENCE, "mmHg", 1.333224e2 / 1e5),
    (K.VOLUME, "gal", 3.785412e-3 * 1e3),
    (K.VOLUME, "gal_imp", 4.546090e-3 * 1e3),
    (K.FLOW, "gpm", 6.309020e-5 * 6e4),
    (K.HEIGHT, "ft", 3.048e-1),
    (K.HEIGHT, "in", 2.54e-2),
    (K.MASS, "lb", 4.535924e-1 * 1e3),
    (K.MASS, "oz", 2.834952e-2 * 1e3),
    (K.DENSITY, "lb/ft3", 1.601846e1),
    (K.TORQUE, "lbf*ft", 1.355818),
    (K.TORQUE, "lbf*in", 1.129848e-1),
    (K.KINEMATIC_VISCOSITY, "cSt", 1e-6 * 1e6),
]


@pytest.mark.parametrize(("kind", "symbol", "factor"), NIST)
def test_factors_are_those_of_nist_sp_811(kind: QuantityKind, symbol: str, factor: float) -> None:
    assert conversion(symbol, kind).factor == pytest.approx(factor, rel=5e-7)


PINT_SPELLING = {
    **dict.fromkeys(("lpm", "l/min", "L/min"), "liter/minute"),
    **dict.fromkeys(("gpm", "gal/min"), "gallon/minute"),
    **dict.fromkeys(("gpm_imp", "gal_imp/min"), "imperial_gallon/minute"),
    "L/h": "liter/hour",
    "m3/h": "meter**3/hour",
    "m3": "meter**3",
    "dm3": "decimeter**3",
    "gal": "gallon",
    "gal_imp": "imperial_gallon",
    "inHg": "inch_Hg",
    "mmHg": "mmHg",
    **dict.fromkeys(("mm2/s", "mm²/s", "cSt"), "centistokes"),
    "m2/s": "meter**2/second",
    "lb/ft3": "pound/foot**3",
    "lbf*ft": "foot_pound",
    "lbf*in": "force_pound*inch",
    **dict.fromkeys(("kg/m3", "kg/m³"), "kilogram/meter**3"),
    **dict.fromkeys(("kg/L", "kg/l", "kg/dm3", "g/cm3", "g/mL", "g/ml"), "gram/centimeter**3"),
    **dict.fromkeys(("N*m", "Nm", "N·m"), "newton*meter"),
    **dict.fromkeys(("um", "µm", "μm"), "micrometer"),
    **dict.fromkeys(("1/mL", "1/ml"), "1/milliliter"),
    **dict.fromkeys(("1/100mL", "1/100ml"), "1/deciliter"),
    "mg/kg": "milligram/kilogram",
    "in": "inch",
    "%": "percent",
    **dict.fromkeys(("degC", "°C"), "degC"),
    **dict.fromkeys(("degF", "°F"), "degF"),
    "barg": "bar",
    "bara": "bar",
    "kPag": "kPa",
    "kPaa": "kPa",
    "MPag": "MPa",
    "MPaa": "MPa",
    "psig": "psi",
    "psia": "psi",
}


@pytest.mark.parametrize(("kind", "symbol"), [(kind, symbol) for kind in K for symbol in UNIT_SYMBOLS[kind]])
def test_every_symbol_of_the_closed_list_agrees_with_pint(kind: QuantityKind, symbol: str) -> None:
    canonical = PINT_SPELLING.get(CANONICAL_UNIT[kind], CANONICAL_UNIT[kind])
    for value in (0.0, 1.0, 37.5):
        expected = PINT.Quantity(value, PINT_SPELLING.get(symbol, symbol)).to(canonical).magnitude
        if symbol in ABSOLUTE_PRESSURE_SYMBOLS:
            expected -= 1.01325  # standard atmosphere at sea level
        assert to_canonical(value, symbol, kind) == pytest.approx(expected, rel=1e-12, abs=1e-8)


def test_every_kind_has_its_canonical_unit_in_the_list_and_a_suffix() -> None:
    for kind in K:
        assert CANONICAL_UNIT[kind] in UNIT_SYMBOLS[kind]
        assert conversion(CANONICAL_UNIT[kind], kind).factor == 1.0
        assert FIELD_SUFFIX[kind].startswith("_")


def test_a_month_is_30_4375_days_and_gallons_are_us() -> None:
    assert to_canonical(6, "month", K.DURATION) == 182.625
    assert to_canonical(1, "gal", K.VOLUME) < to_canonical(1, "gal_imp", K.VOLUME)


@pytest.mark.parametrize(
    ("symbol", "kind", "says"),
    [
        (
            "barg",
            K.PRESSURE_DIFFERENCE,
            "'barg' is gauge pressure (against atmosphere), but this is a pressure diff",
        ),
        (
            "psia",
            K.PRESSURE_DIFFERENCE,
            "'psia' is absolute pressure (against vacuum), but this is a pressure diff",
        ),
        ("psig", K.VACUUM, "'psig' is gauge pressure (against atmosphere), but this is a vacuum below atmosphere"),
        ("", K.FLOW, "no unit given; expected one of: L/min, l/min, lpm"),
        ("degC", K.FLOW, "'degC' measures temperature, not flow"),
        ("BAR", K.PRESSURE_DIFFERENCE, "unknown unit 'BAR' (did you mean 'bar'?)"),
        ("9**9**9", K.PRESSURE_DIFFERENCE, "unknown unit '9**9**9'; expected one of: bar"),
    ],
)
def test_a_wrong_unit_is_refused_in_words_a_fitter_understands(symbol: str, kind: QuantityKind, says: str) -> None:
    with pytest.raises(UnitRefused) as refused:
        to_canonical(1.0, symbol, kind)
    assert says in str(refused.value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not a finite number"):
        to_canonical(value, "bar", K.PRESSURE_DIFFERENCE)


# ISO 2533:1975, table 1: 1,000 m 898.746 hPa, 2,000 m 794.952 hPa (from memory)
@pytest.mark.parametrize(("altitude_m", "bar"), [(0, 1.01325), (1000, 0.898746), (2000, 0.794952)])
def test_the_atmosphere_falls_with_height_as_in_iso_2533(altitude_m: float, bar: float) -> None:
    assert atmosphere_bar(altitude_m) == pytest.approx(bar, abs=2e-5)


def test_an_absolute_pressure_at_2000_m_is_gauge_against_the_thinner_air() -> None:
    assert to_canonical(1.0, "bara", K.GAUGE_PRESSURE, altitude_m=2000) == pytest.approx(1.0 - 0.794952, abs=2e-5)


@given(value=st.floats(-1e6, 1e6))
@pytest.mark.parametrize(
    ("kind", "symbol"),
    [(kind, symbol) for kind in K for symbol in UNIT_SYMBOLS[kind] if symbol not in ABSOLUTE_PRESSURE_SYMBOLS],
)
def test_there_and_back_is_the_same(kind: QuantityKind, symbol: str, value: float) -> None:
    shown = from_canonical(to_canonical(value, symbol, kind), symbol, kind)
    assert shown == pytest.approx(value, rel=1e-9, abs=1e-8)
