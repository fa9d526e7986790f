"""What a new element should show once it is in, and what a reading taken then says.

The element's own ΔP is laminar, ∝ ρ ν Q, from the maker's clean ΔP; the housing's is turbulent, ∝ ρ Q² (ISO 3968
measures both). The oil's viscosity decides most of it, so the range is told for several oil temperatures, and a
reading is judged from those rows alone: a card in somebody's hand needs nothing else.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from scheduler.engineering.pressure_drop import clean_element_dp_bar
from scheduler.engineering.viscosity import density_at, viscosity_at

Floats = npt.NDArray[np.float64]

CARD_TEMPERATURES_degC = (20.0, 30.0, 40.0, 50.0, 60.0)
"""For which a card tells the range, beside the working temperature (ours)."""

LEAST_OF_NOMINAL = 0.6
MOST_OF_NOMINAL = 1.5
"""Ours: a maker's curve holds within a fifth, a flow that nobody measured within another, viscosity by its grade
within a tenth (ISO 3448), by its temperature within an eighth for 3 °C: a third together, and room."""

GAUGE_ALLOWANCE_BAR = 0.05
"""Half a step of a dial gauge with tenths of a bar, added on either side (ours)."""

UNKNOWN_HOUSING_OF_ELEMENT = 0.25
"""Ours, as `pressure_drop` has it: a housing of which nothing is known may take a fifth of the assembly's ΔP, which
is a quarter of the element's."""

SAME_FLOW_SHARE = 0.05
"""Flows this near to each other are one flow (ours)."""


@dataclass(frozen=True, slots=True)
class ExpectedDp:
    """The ΔP, from `low_bar` to `high_bar`, that a new element should show with oil of that temperature."""

    oil_temperature_degC: float
    low_bar: float
    high_bar: float


@dataclass(frozen=True, slots=True)
class NewElement:
    """What the catalogue and the position tell of one assembly; NaN is unknown.

    `housing_dp_bar` is the empty housing's at `flow_lpm` and `warm_degC`; the flow is shared by `in_parallel`.
    """

    clean_dp_bar: float
    rated_flow_lpm: float
    rated_viscosity_mm2_s: float
    flow_lpm: float
    housing_dp_bar: float
    warm_degC: float
    walther_a: float
    walther_b: float
    density_15_kg_m3: float
    in_parallel: int = 1


class Fit(StrEnum):
    """What a reading after the change says of the new element."""

    AS_EXPECTED = "as_expected"
    TOO_LOW = "too_low"
    TOO_HIGH = "too_high"
    NOT_JUDGED = "not_judged"


@dataclass(frozen=True, slots=True)
class Verdict:
    """`says` is one sentence with the numbers."""

    fit: Fit
    says: str


def element_dp_bar(new: NewElement, oil_temperature_degC: npt.ArrayLike) -> Floats:
    """The new element's own ΔP at the position's flow, any shape of temperatures; NaN where a number is missing.

    Raises ValueError for a temperature outside −60 to 250 °C.

    >>> oil_46 = {"walther_a": 9.4180, "walther_b": 3.6844, "density_15_kg_m3": 870.0}
    >>> rated = NewElement(0.3, 100.0, 30.0, flow_lpm=100.0, housing_dp_bar=0.1, warm_degC=50.0, **oil_46)
    >>> float(element_dp_bar(rated, 50.0).round(2))  # 30 mm²/s: as on the maker's sheet
    0.3
    """
    return clean_element_dp_bar(
        new.clean_dp_bar,
        new.rated_flow_lpm,
        new.rated_viscosity_mm2_s,
        flow_lpm=new.flow_lpm,
        viscosity_mm2_s=viscosity_at(oil_temperature_degC, new.walther_a, new.walther_b),
        density_kg_m3=density_at(oil_temperature_degC, new.density_15_kg_m3),
        elements_in_parallel=new.in_parallel,
    )


def expected_dp(
    new: NewElement, oil_temperatures_degC: Sequence[float] = CARD_TEMPERATURES_degC
) -> tuple[ExpectedDp, ...]:
    """The range across the assembly at each of these temperatures, rising. Empty where the catalogue says too little.

    Raises ValueError for a temperature outside −60 to 250 °C.
    """
    at_degC = np.unique(np.asarray(oil_temperatures_degC, dtype=np.float64))
    element = element_dp_bar(new, at_degC)
    if np.any(np.isnan(element)):
        return ()
    thicker = density_at(at_degC, new.density_15_kg_m3) / density_at(new.warm_degC, new.density_15_kg_m3)
    least, most = _housing_bar(new)
    low = np.maximum(LEAST_OF_NOMINAL * (element + least * thicker) - GAUGE_ALLOWANCE_BAR, 0.0)
    high = MOST_OF_NOMINAL * (element + most * thicker) + GAUGE_ALLOWANCE_BAR
    rows = zip(at_degC.tolist(), low.tolist(), high.tolist(), strict=True)
    return tuple(ExpectedDp(degC, round(low_bar, 3), round(high_bar, 3)) for degC, low_bar, high_bar in rows)


def judged(
    dp_bar: float,
    oil_temperature_degC: float,
    flow_lpm: float | None,
    rows: Sequence[ExpectedDp],
    usual_flow_lpm: float | None,
) -> Verdict:
    """What a ΔP, read with a new element, says of it. `rows` hold at `usual_flow_lpm`; no flow is taken for that one.

    Between two rows ln ΔP runs straight: over 10 °C that is within 1 % of the viscosity law. Outside of them nothing
    is judged. At another flow the range widens, for how much of it is the element's is not in the rows. Raises
    ValueError for a ΔP or a temperature that is no number, and for a flow or a usual flow that is not above 0.

    >>> card = [ExpectedDp(40.0, 0.30, 0.80), ExpectedDp(50.0, 0.22, 0.60)]
    >>> judged(0.05, 50.0, None, card, None).says[:46]
    'ΔP 0.05 bar with oil at 50 °C is less than the'
    >>> judged(0.40, 45.0, None, card, None).fit.value
    'as_expected'
    """
    _refuse_what_no_gauge_shows(dp_bar, oil_temperature_degC, flow_lpm, usual_flow_lpm)
    read = f"ΔP {_number(dp_bar)} bar with oil at {_number(oil_temperature_degC)} °C"
    if not rows:
        return Verdict(Fit.NOT_JUDGED, f"{read}: what a new element shows is not known, so it is not judged.")
    by_temperature = sorted(rows, key=lambda row: row.oil_temperature_degC)
    coldest, hottest = (by_temperature[end].oil_temperature_degC for end in (0, -1))
    if not coldest <= oil_temperature_degC <= hottest:
        told = f"{_number(coldest)} to {_number(hottest)} °C" if coldest < hottest else f"{_number(coldest)} °C"
        return Verdict(Fit.NOT_JUDGED, f"{read} is not judged: the range is told for {told}. Read it again there.")
    low_bar, high_bar = _range_at(oil_temperature_degC, by_temperature)
    at_flow = ""
    if flow_lpm is not None and usual_flow_lpm is not None:
        ratio = flow_lpm / usual_flow_lpm
        if abs(ratio - 1.0) > SAME_FLOW_SHARE:
            low_bar, high_bar = _at_another_flow(low_bar, high_bar, ratio)
            at_flow = f" at {_number(flow_lpm)} L/min"
    expected = f"{_number(low_bar)} to {_number(high_bar)} bar that a new element shows then{at_flow}"
    if dp_bar < low_bar:
        says = f"{read} is less than the {expected}: not seated, a missing seal, a wrong element or an open bypass."
        return Verdict(Fit.TOO_LOW, says)
    if dp_bar > high_bar:
        says = f"{read} is more than the {expected}: a wrong element, colder oil or more flow than told, or dirt."
        return Verdict(Fit.TOO_HIGH, says)
    return Verdict(Fit.AS_EXPECTED, f"{read} is within the {expected}.")


def _housing_bar(new: NewElement) -> tuple[float, float]:
    """What the housing takes at the least and at the most, at the warm state."""
    if not math.isnan(new.housing_dp_bar):
        return new.housing_dp_bar, new.housing_dp_bar
    return 0.0, UNKNOWN_HOUSING_OF_ELEMENT * float(element_dp_bar(new, new.warm_degC))


def _range_at(oil_temperature_degC: float, rows: Sequence[ExpectedDp]) -> tuple[float, float]:
    at_degC = [row.oil_temperature_degC for row in rows]
    shift = GAUGE_ALLOWANCE_BAR  # the rows carry it, and without it a low of 0 would have no logarithm
    low = np.interp(oil_temperature_degC, at_degC, np.log([row.low_bar + shift for row in rows]))
    high = np.interp(oil_temperature_degC, at_degC, np.log([max(row.high_bar - shift, 1e-6) for row in rows]))
    return max(round(float(np.exp(low)) - shift, 6), 0.0), round(float(np.exp(high)) + shift, 6)


def _at_another_flow(low_bar: float, high_bar: float, ratio: float) -> tuple[float, float]:
    """An element's part goes with the flow, a housing's with its square; the gauge's allowance with neither."""
    shift = GAUGE_ALLOWANCE_BAR
    low = (low_bar + shift) * min(ratio, ratio**2) - shift if low_bar > 0.0 else 0.0
    return max(low, 0.0), (high_bar - shift) * max(ratio, ratio**2) + shift


def _refuse_what_no_gauge_shows(
    dp_bar: float, oil_temperature_degC: float, flow_lpm: float | None, usual_flow_lpm: float | None
) -> None:
    for value, of, unit in ((dp_bar, "ΔP", "bar"), (oil_temperature_degC, "oil temperature", "°C")):
        if not math.isfinite(value):
            raise ValueError(f"{of} {value} {unit} is not a number")
    for told_lpm, of in ((flow_lpm, "flow"), (usual_flow_lpm, "usual flow")):
        if told_lpm is not None and not 0.0 < told_lpm < math.inf:
            raise ValueError(f"{of} {told_lpm} L/min is not above 0")


def _number(value: float) -> str:
    return f"{float(f'{value:.2g}' if abs(value) < 10.0 else f'{value:.3g}'):g}"
