"""A position's newest readings with known temperature, on whatever elements, for what outlasts an element.

What makes readings follow viscosity or flow is the oil, an instrument or the machine: the elements before tell of it
too. Each reading is restated to the position's warm state as it is now.
"""

from dataclasses import dataclass, fields

import numpy as np

from scheduler.engineering.pressure_drop import (
    FLOW_SD,
    GAUGE_SD,
    RESTATING_SD,
    SHIFT_IN_STEPS,
    TEMPERATURE_SD_K,
    normalised_dp,
)
from scheduler.engineering.reading_gate import Gate, gate_readings
from scheduler.planning.condition import Condition
from scheduler.planning.current_readings import LN_VISCOSITY_PER_K
from scheduler.planning.elements import Elements, finished_elements, fitted_elements
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns

LOOKS_BACK, LOOKS_BACK_D = 60, 400.0
"""Newest readings that are looked at: enough for a slope, and few enough to clear once the cause is gone (ours)."""

FEWEST = 10
"""Readings of a position: with fewer nothing is left beside a few straight lines in time (ours)."""

CHANGE_D = 0.5
"""So near to a change a reading may belong to either element."""

COARSE_STEPS = 3.0
"""Below so many gauge steps in the middle of the readings, rounding is all that they have in common (ours)."""


@dataclass(frozen=True, slots=True)
class LatelyRead:
    """Readings to look at (n,), in order of position and day; position i owns offsets[i] to offsets[i + 1].

    Logarithms are of the restated ΔP, and of viscosity and flow over the warm ones. `sd`: how far each restated one
    is known to scatter. `element`: on which element of its position it was read.
    """

    offsets: Ints
    element: Ints
    day: Floats
    shown_bar: Floats
    flow_lpm: Floats
    oil_temperature_degC: Floats
    log_dp: Floats
    log_viscosity: Floats
    log_flow: Floats
    sd: Floats

    @property
    def owner(self) -> Ints:
        return np.repeat(np.arange(len(self.offsets) - 1), np.diff(self.offsets))

    def only(self, kept: Flags) -> "LatelyRead":
        """Those of the readings (n,) that are kept."""
        count = np.bincount(self.owner[kept], minlength=len(self.offsets) - 1)
        columns = [getattr(self, column.name)[kept] for column in fields(self) if column.name != "offsets"]
        return LatelyRead(np.concatenate([[0], np.cumsum(count)]).astype(np.intp), *columns)

    def of(self, position: int) -> slice:
        return slice(int(self.offsets[position]), int(self.offsets[position + 1]))

    def block_offsets(self) -> Ints:
        """Where each stretch of readings on one element begins, and the end of the last."""
        new = np.ones(len(self.day), dtype=bool)
        new[1:] = (self.element[1:] != self.element[:-1]) | (self.owner[1:] != self.owner[:-1])
        return np.append(np.flatnonzero(new), len(new)).astype(np.intp)


def lately_read(columns: PlantColumns, condition: Condition) -> LatelyRead:
    """Of positions in service and gauges fine enough, those that count."""
    ever = (finished_elements(columns), fitted_elements(columns))
    position = np.concatenate([each.position[each.of_readings()] for each in ever])
    day = np.concatenate([each.dp.day for each in ever])
    degC = np.concatenate([each.dp.oil_temperature_degC for each in ever])
    by_vacuum = columns.by_vacuum()
    kept = np.flatnonzero(
        ~np.isnan(degC)
        & (day >= columns.as_of_day - LOOKS_BACK_D)
        & (columns.in_service() & ~by_vacuum & ~np.isnan(condition.warm.viscosity_mm2_s))[position]
    )
    kept = kept[np.lexsort((day[kept], position[kept]))]
    count = np.bincount(position[kept], minlength=len(by_vacuum))
    from_end = np.cumsum(count)[position[kept]] - np.arange(len(kept))
    kept = kept[(from_end <= LOOKS_BACK) & (count > FEWEST)[position[kept]]]
    return _restated(columns, condition, ever, kept)


def _restated(columns: PlantColumns, condition: Condition, ever: tuple[Elements, Elements], kept: Ints) -> LatelyRead:
    def column(name: str) -> Floats:
        return np.asarray(np.concatenate([getattr(each.dp, name) for each in ever])[kept])

    ended = len(ever[0])
    element = np.concatenate([ever[0].of_readings(), ended + ever[1].of_readings()])[kept]
    position = np.concatenate([each.position for each in ever])[element]
    day, flow_lpm, degC, dp_bar = (column(name) for name in ("day", "flow_lpm", "oil_temperature_degC", "dp_bar"))
    dp_bar = np.where(np.isnan(dp_bar), column("upstream_bar") - column("downstream_bar"), dp_bar)
    reading = normalised_dp(dp_bar, flow_lpm, degC, condition.warm.of_readings(position))
    step_bar = condition.log_shift_bar / SHIFT_IN_STEPS
    since_d = np.abs(day - np.concatenate([each.fitted_day for each in ever])[element])
    until_d = np.abs(np.concatenate([each.removed_day for each in ever])[element] - day)
    gate = gate_readings(
        *(dp_bar, flow_lpm, reading),
        gauge_step_bar=step_bar[position],
        bypass_dp_bar=columns.positions.bypass_dp_bar[position],
        is_change_day=~(np.minimum(since_d, until_d) > CHANGE_D),
    )
    # a reading is rounded to a step of what is shown, and restated its step is as much of the element's ΔP
    by_rounding = step_bar[position] / np.maximum(dp_bar, step_bar[position]) / np.sqrt(12.0)
    by_instruments = GAUGE_SD**2 + RESTATING_SD**2 + FLOW_SD**2 + (TEMPERATURE_SD_K * LN_VISCOSITY_PER_K) ** 2
    shift_bar = condition.log_shift_bar[position]
    with np.errstate(invalid="ignore", divide="ignore"):
        chosen = LatelyRead(
            np.concatenate([[0], np.cumsum(np.bincount(position, minlength=len(step_bar)))]).astype(np.intp),
            *(element, day, dp_bar, flow_lpm, degC),
            log_dp=np.log(np.maximum(reading.element_dp_bar, 0.0) + shift_bar),
            log_viscosity=np.log(reading.viscosity_ratio),
            log_flow=np.log(flow_lpm / condition.warm.flow_lpm[position]),
            sd=np.sqrt(by_rounding**2 + by_instruments),
        )
    chosen = chosen.only(np.isin(gate, [Gate.USABLE, Gate.BELOW_RESOLUTION]))
    fine = chosen.shown_bar >= COARSE_STEPS * step_bar[chosen.owner]
    share = np.bincount(chosen.owner, fine, len(step_bar)) / np.maximum(np.diff(chosen.offsets), 1)
    return chosen.only(((share > 0.5) & (np.diff(chosen.offsets) > FEWEST))[chosen.owner])
