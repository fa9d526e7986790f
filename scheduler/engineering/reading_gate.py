"""Which ΔP readings say something about the element, and why the others do not.

A gated reading is kept and shown with its code. The limits are ours, from the evaluation on simulated plants.
"""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

from scheduler.engineering.pressure_drop import NormalisedDp

COLD_VISCOSITY_RATIO = 4.0
LOW_FLOW_RATIO = 0.3
BYPASS_SHARE_OPEN = 0.95


class Gate(IntEnum):
    """Why a reading does not count as it is; lower codes win where several hold, after `USABLE`."""

    USABLE = 0
    NO_PRESSURE = 1
    """An indicator sighting without a ΔP."""
    IMPOSSIBLE = 2
    """Negative by more than a gauge step, not finite, or at a negative flow."""
    CHANGE_DAY = 3
    """On the day of a change and not said to be before or after it: belongs to neither life."""
    NO_FLOW = 4
    """The machine stands; never "clean"."""
    BYPASS_OPEN = 5
    """At the bypass setting with warm oil: evidence of a spent element, no measure of it."""
    COLD_BYPASS = 6
    """At the bypass setting with cold oil: evidence of a cold start."""
    LOW_FLOW = 7
    COLD = 8
    """Oil more than four times as viscous as at the warm state."""
    BELOW_RESOLUTION = 9
    """The element's part is under a gauge step: counts, with the weak weight that its variance gives."""


COUNTED_GATES = frozenset({Gate.USABLE, Gate.BELOW_RESOLUTION})
"""The codes whose readings enter the forecast."""


def gate_readings(
    dp_bar: npt.ArrayLike,
    flow_lpm: npt.ArrayLike,
    reading: NormalisedDp,
    *,
    gauge_step_bar: npt.ArrayLike,
    bypass_dp_bar: npt.ArrayLike,
    is_change_day: npt.ArrayLike,
) -> npt.NDArray[np.int8]:
    """A `Gate` for each reading; arguments broadcast.

    `dp_bar` and `flow_lpm` are as read, NaN where missing; `reading` is their restated form;
    `bypass_dp_bar` is the cracking ΔP, NaN for no bypass or an unknown one.
    """
    dp = np.asarray(dp_bar, dtype=np.float64)
    flow = np.asarray(flow_lpm, dtype=np.float64)
    step = np.asarray(gauge_step_bar, dtype=np.float64)
    opens_at = np.asarray(bypass_dp_bar, dtype=np.float64) + reading.housing_dp_bar
    cold = reading.viscosity_ratio > COLD_VISCOSITY_RATIO
    bypassing = dp > BYPASS_SHARE_OPEN * opens_at
    found = {
        Gate.NO_PRESSURE: np.isnan(dp),
        Gate.IMPOSSIBLE: np.isinf(dp) | np.isinf(flow) | (dp < -step) | (flow < 0.0),
        Gate.CHANGE_DAY: np.asarray(is_change_day, dtype=np.bool_),
        # half a step is what a gauge shows as nothing
        Gate.NO_FLOW: (flow == 0.0) | (np.isnan(flow) & (np.abs(dp) < 0.5 * step)),
        Gate.BYPASS_OPEN: bypassing & ~cold,
        Gate.COLD_BYPASS: bypassing & cold,
        Gate.LOW_FLOW: reading.flow_ratio < LOW_FLOW_RATIO,
        Gate.COLD: cold,
        Gate.BELOW_RESOLUTION: dp - reading.housing_dp_bar < step,
    }
    conditions = np.broadcast_arrays(*found.values())
    codes = [np.int8(gate) for gate in found]
    return np.select(list(conditions), codes, np.int8(Gate.USABLE)).astype(np.int8)
