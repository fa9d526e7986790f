"""A ΔP reading made comparable: split, restated at the position's warm working state, with its uncertainty.

The assembly's ΔP is the housing's, turbulent, K ρ Q², plus the element's, laminar (Darcy flow in the media),
proportional to density × kinematic viscosity × flow (ISO 3968 measures both; makers' sheets say the same).
Only the element part is restated:

    x = (p − p_h) · (ν_ref ρ_ref Q_ref) / (ν ρ Q),  p_h = housing ΔP · (ρ / ρ_ref) · (Q / Q_ref)².

The variance belongs to the started logarithm ln(x + a): with a fraction of a gauge step added, a reading of
nothing keeps a finite logarithm and a wide one. Values are arrays of any shapes that broadcast; NaN is
unknown.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.engineering.viscosity import d_ln_viscosity_per_K, density_at, viscosity_at

Floats = npt.NDArray[np.float64]

USUAL_WARM_TEMPERATURE_degC = 50.0
"""Of oil in a working hydraulic system, where nothing better is known; common practice, no source."""

RATED_DENSITY_KG_M3 = 860.0
"""At which makers state clean ΔP: 0.86 kg/dm³ (published makers' sheets)."""

FLOW_SD = 0.03
TEMPERATURE_SD_K = 2.0
GAUGE_SD = 0.04
RESTATING_SD = 0.03
"""Ours, relative but for the kelvin: how far off instruments and the laminar law are in the evaluation."""

ASSUMED_FLOW_SD = 0.20
ASSUMED_TEMPERATURE_SD_K = 7.0
"""Ours: the spread of flow and temperature about a position's median, for a reading taken without them."""

UNSPLIT_SLOPE_SD = 0.20
"""Ours: an unknown housing takes about a fifth of the assembly's ΔP, which viscosity leaves alone."""

SHIFT_IN_STEPS = 0.3
"""Ours, from the evaluation with dial gauges: the shift a of the started logarithm, in gauge steps."""


@dataclass(frozen=True, slots=True)
class WarmState:
    """What a position's readings are restated to, and its oil; one value per reading, or scalars.

    `flow_lpm` and `oil_temperature_degC` are the position's medians and stand in for a reading's missing
    ones. Where no flow is known at all (NaN), readings are taken to be at one and the same flow.
    `housing_dp_bar` is the empty housing's ΔP at this state; NaN leaves the assembly unsplit and widens the
    uncertainty.
    """

    flow_lpm: Floats
    oil_temperature_degC: Floats
    housing_dp_bar: Floats
    walther_a: Floats
    walther_b: Floats
    density_15_kg_m3: Floats
    viscosity_slope_sd: Floats

    @property
    def viscosity_mm2_s(self) -> Floats:
        return viscosity_at(self.oil_temperature_degC, self.walther_a, self.walther_b)

    @property
    def density_kg_m3(self) -> Floats:
        return density_at(self.oil_temperature_degC, self.density_15_kg_m3)

    def of_readings(self, position: npt.NDArray[np.intp]) -> "WarmState":
        """The state of each reading's position, from columns over positions."""
        return WarmState(
            self.flow_lpm[position],
            self.oil_temperature_degC[position],
            self.housing_dp_bar[position],
            self.walther_a[position],
            self.walther_b[position],
            self.density_15_kg_m3[position],
            self.viscosity_slope_sd[position],
        )


@dataclass(frozen=True, slots=True)
class NormalisedDp:
    """Readings restated to the warm state, with what the gates and the variance need.

    `element_dp_bar` may be a little below 0 where the reading is less than the housing takes; NaN where the
    machine stood. `restating_factor` turns a bar of reading into a bar at the warm state. `housing_dp_bar`
    is the housing's part as read. `flow_sd` and `viscosity_sd` are relative standard deviations.
    """

    element_dp_bar: Floats
    housing_dp_bar: Floats
    restating_factor: Floats
    flow_ratio: Floats
    viscosity_ratio: Floats
    flow_sd: Floats
    viscosity_sd: Floats


def normalised_dp(
    dp_bar: npt.ArrayLike, flow_lpm: npt.ArrayLike, oil_temperature_degC: npt.ArrayLike, warm: WarmState
) -> NormalisedDp:
    """The element part of each reading, restated to the warm state. Shapes broadcast; NaN is unknown.

    Raises ValueError for a temperature outside −60 to 250 °C. Impossible readings pass through: gating is
    another module's business.

    >>> oil = WarmState(*np.array([100.0, 50.0, 0.1, 9.4180, 3.6844, 870.0, 0.1]))
    >>> cold = normalised_dp(1.60, 100.0, 20.0, oil)  # 4.5 times as viscous: most of the ΔP is cold oil
    >>> float(cold.element_dp_bar.round(2))
    0.33
    """
    dp = np.asarray(dp_bar, dtype=np.float64)
    flow = np.asarray(flow_lpm, dtype=np.float64)
    temperature = np.asarray(oil_temperature_degC, dtype=np.float64)
    used_temperature = np.where(np.isnan(temperature), warm.oil_temperature_degC, temperature)
    viscosity_ratio = viscosity_at(used_temperature, warm.walther_a, warm.walther_b) / warm.viscosity_mm2_s
    density_ratio = density_at(used_temperature, warm.density_15_kg_m3) / warm.density_kg_m3
    unknown_flow = np.isnan(flow) | np.isnan(warm.flow_lpm)
    flow_ratio = np.where(unknown_flow, 1.0, flow / np.where(unknown_flow, 1.0, warm.flow_lpm))
    unsplit = np.isnan(warm.housing_dp_bar)
    housing = np.where(unsplit, 0.0, warm.housing_dp_bar) * density_ratio * flow_ratio**2
    measurable = (flow_ratio > 0.0) & (flow_ratio < np.inf) & ~(flow <= 0.0)
    moving = np.where(measurable, flow_ratio, np.nan)  # a standing machine says nothing of its element
    factor = 1.0 / (viscosity_ratio * density_ratio * moving)
    slope = d_ln_viscosity_per_K(used_temperature, warm.walther_a, warm.walther_b)
    temperature_sd_K = np.where(np.isnan(temperature), ASSUMED_TEMPERATURE_SD_K, TEMPERATURE_SD_K)
    slope_sd = np.hypot(warm.viscosity_slope_sd, np.where(unsplit, UNSPLIT_SLOPE_SD, 0.0))
    return NormalisedDp(
        element_dp_bar=np.asarray((dp - housing) * factor),
        housing_dp_bar=np.asarray(housing),
        restating_factor=np.asarray(factor),
        flow_ratio=flow_ratio,
        viscosity_ratio=viscosity_ratio,
        flow_sd=np.where(unknown_flow, ASSUMED_FLOW_SD, FLOW_SD),
        viscosity_sd=np.hypot(temperature_sd_K * slope, slope_sd * np.log(viscosity_ratio)),
    )


def started_shift_bar(gauge_step_bar: npt.ArrayLike) -> Floats:
    """The shift a of ln(x + a) for a gauge with that step: the same one for readings, clean and terminal ΔP.

    >>> float(started_shift_bar(0.1).round(3))
    0.03
    """
    return np.asarray(SHIFT_IN_STEPS * np.asarray(gauge_step_bar, dtype=np.float64))


def started_log(dp_bar: npt.ArrayLike, shift_bar: npt.ArrayLike) -> Floats:
    """ln(x + a). An element part below 0 lies within the gauge's error and counts as 0; NaN stays NaN.

    Raises ValueError for a shift that is not above 0.

    >>> float(started_log(0.97, 0.03).round(6))
    0.0
    """
    shift = np.asarray(shift_bar, dtype=np.float64)
    if np.any(shift <= 0.0):
        raise ValueError(f"shift {float(np.min(shift))} bar is not above 0")
    return np.asarray(np.log(np.maximum(np.asarray(dp_bar, dtype=np.float64), 0.0) + shift))


def started_log_variance(
    smoothed_dp_bar: npt.ArrayLike,
    reading: NormalisedDp,
    gauge_step_bar: npt.ArrayLike,
    shift_bar: npt.ArrayLike,
) -> Floats:
    """Variance of `started_log` of each reading, by first-order propagation.

    `smoothed_dp_bar` is a running median of the restated readings: with the reading itself, low readings
    would look the more certain for being low. The gauge's rounding is uniform over a step (sd step/√12).
    The gauge's relative error acts on housing and element together, a flow error once on the element and
    twice on the housing.

    >>> oil = WarmState(*np.array([100.0, 50.0, 0.0, 9.4180, 3.6844, 870.0, 0.1]))
    >>> warm = normalised_dp(1.0, 100.0, 50.0, oil)
    >>> float(np.sqrt(started_log_variance(1.0, warm, 0.1, 0.03)).round(3))  # a tenth, at 1 bar
    0.1
    """
    x = np.maximum(np.asarray(smoothed_dp_bar, dtype=np.float64), 0.0)
    shift = np.asarray(shift_bar, dtype=np.float64)
    step = np.asarray(gauge_step_bar, dtype=np.float64)
    housing = reading.restating_factor * reading.housing_dp_bar
    variance_bar2 = (
        (reading.restating_factor * step) ** 2 / 12.0
        + (GAUGE_SD * (x + housing)) ** 2
        + (RESTATING_SD * x) ** 2
        + (reading.flow_sd * (x + 2.0 * housing)) ** 2
        + (reading.viscosity_sd * x) ** 2
    )
    return np.asarray(variance_bar2 / (x + shift) ** 2)


def clean_element_dp_bar(
    clean_dp_bar: npt.ArrayLike,
    rated_flow_lpm: npt.ArrayLike,
    rated_viscosity_mm2_s: npt.ArrayLike,
    *,
    flow_lpm: npt.ArrayLike,
    viscosity_mm2_s: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    elements_in_parallel: npt.ArrayLike = 1.0,
) -> Floats:
    """The maker's clean element ΔP, stated at rated flow and viscosity and 860 kg/m³, at a working state.

    `flow_lpm` is the position's, shared by `elements_in_parallel`. NaN where anything is unknown.

    >>> half_the_flow_of_thicker_oil = {"flow_lpm": 50.0, "viscosity_mm2_s": 60.0, "density_kg_m3": 860.0}
    >>> float(clean_element_dp_bar(0.3, 100.0, 30.0, **half_the_flow_of_thicker_oil))
    0.3
    """
    per_element_lpm = np.asarray(flow_lpm, dtype=np.float64) / np.asarray(elements_in_parallel, dtype=np.float64)
    flow_ratio = per_element_lpm / np.asarray(rated_flow_lpm, dtype=np.float64)
    viscosity_ratio = np.asarray(viscosity_mm2_s, dtype=np.float64) / np.asarray(rated_viscosity_mm2_s)
    density_ratio = np.asarray(density_kg_m3, dtype=np.float64) / RATED_DENSITY_KG_M3
    return np.asarray(np.asarray(clean_dp_bar, dtype=np.float64) * flow_ratio * viscosity_ratio * density_ratio)
