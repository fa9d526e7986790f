"""Whether ΔP follows viscosity and flow as that of an element does: each in proportion, so that restated it does not.

What the restated readings of a position still have in common with the viscosity or the flow noted beside them, apart
from the element's own slow rise, is the error of the exponent: 1 is an element's, 0 says that what was noted has
nothing to do with the oil in the filter, 2 of the flow is a restriction. A slope is believed as far as it is beyond
its own error, what the oil's law and an unknown housing leave open, and what misread instruments make of it.

A wrong viscosity grade of the same kind changes the exponent by a twelfth only (ISO VG 46 and 68 of viscosity index
100 by ASTM D341): that shows in a new element's level, not here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from scheduler.engineering.pressure_drop import (
    FLOW_SD,
    GAUGE_SD,
    RESTATING_SD,
    SHIFT_IN_STEPS,
    TEMPERATURE_SD_K,
    UNSPLIT_SLOPE_SD,
    normalised_dp,
)
from scheduler.engineering.reading_gate import Gate, gate_readings
from scheduler.planning.condition import Condition
from scheduler.planning.current_readings import LN_VISCOSITY_PER_K
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.elements import Elements, finished_elements, fitted_elements
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.local_slopes import ROUNDS, LocalSlopes, blocks_of, local_slopes
from scheduler.vocabulary import Place, Severity, TaskKind

LOOKS_BACK, LOOKS_BACK_D = 60, 400.0
"""Newest readings that are looked at: enough for a slope, and few enough to clear once the cause is gone (ours)."""

CHANGE_D = 0.5
FIRST_LOOK = 2
SUSPECT_SLOPE = 0.2
FEWEST_FREEDOM = 7.0
COARSE_STEPS = 3.0
"""Below so many gauge steps in the middle of the readings, rounding is all that they have in common (ours)."""

SURE_SDS = 2.25
LEAST_MOVED_VISCOSITY, LEAST_MOVED_FLOW = 0.10, 0.04
"""Spread of ln viscosity (4 °C about) and of ln flow below which instruments' errors are most of it (ours)."""

OFF_BY_VISCOSITY = 0.35
TOO_STEEP_BY_FLOW, TOO_FLAT_BY_FLOW = 0.5, -0.6
"""An exponent off by less is the housing, the oil's law or a coarse gauge (ours); 1.5 is halfway to a restriction."""

SPLIT_FLOW_SLOPE_SD = 0.10
"""What a stated housing ΔP leaves open of the exponent of the flow (ours)."""

APART_LOG = float(np.log(1.4))
APART_SCATTERS = 4.0
APART_STEPS = 3.0
FEWEST_SHARE, FEWEST_CROSSINGS = 0.2, 5
"""Two levels: half as much again apart, four times their own scatter and three gauge steps; each of them a fifth of
the readings, and gone to and fro between five times. One normal scatter, cut in two, is 2.7 scatters apart. Ours."""

_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class _Chosen:
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

    def only(self, kept: Flags) -> "_Chosen":
        """Those of the readings (n,) that are kept."""
        count = np.bincount(self.owner[kept], minlength=len(self.offsets) - 1)
        columns = [getattr(self, column.name)[kept] for column in fields(self) if column.name != "offsets"]
        return _Chosen(np.concatenate([[0], np.cumsum(count)]).astype(np.intp), *columns)

    def of(self, position: int) -> slice:
        return slice(int(self.offsets[position]), int(self.offsets[position + 1]))

    def slopes(self, *regressors: Floats, rounds: int = ROUNDS) -> LocalSlopes:
        """With a line in time for each few readings on one element."""
        new = np.ones(len(self.day), dtype=bool)
        new[1:] = (self.element[1:] != self.element[:-1]) | (self.owner[1:] != self.owner[:-1])
        stretches = np.append(np.flatnonzero(new), len(new)).astype(np.intp)
        moved = np.column_stack(regressors)
        at = self.day - (self.day[0] if len(self.day) else 0.0)
        return local_slopes(self.log_dp, moved, at, self.sd, self.offsets, blocks_of(stretches), rounds=rounds)


def exponent_diagnoses(columns: PlantColumns, condition: Condition) -> list[Diagnosis]:
    """Of every position what stands now."""
    chosen = _chosen(columns, condition)
    has_flow = np.bincount(chosen.owner, ~np.isnan(chosen.log_flow), len(columns.positions.code))
    measured = (has_flow > 0.5 * np.diff(chosen.offsets))[chosen.owner]
    with_flow, without_flow = chosen.only(measured & ~np.isnan(chosen.log_flow)), chosen.only(~measured)
    found: list[Diagnosis] = []
    if len(with_flow.day):
        suspect = _suspect(with_flow.slopes(with_flow.log_viscosity, with_flow.log_flow, rounds=FIRST_LOOK))
        with_flow = with_flow.only(suspect[with_flow.owner])
        slopes = with_flow.slopes(with_flow.log_viscosity, with_flow.log_flow)
        found += _by_viscosity(columns, condition, with_flow, slopes)
        found += _by_flow(columns, condition, with_flow, slopes)
    if len(without_flow.day):
        first_look = without_flow.slopes(without_flow.log_viscosity, rounds=FIRST_LOOK)
        found += _two_levels(columns, condition, without_flow, first_look)
        without_flow = without_flow.only(_suspect(first_look)[without_flow.owner])
        found += _by_viscosity(columns, condition, without_flow, without_flow.slopes(without_flow.log_viscosity))
    return found


def _suspect(first_look: LocalSlopes) -> Flags:
    """Positions (P,) of which an exponent may be off: most are not, and need no closer look."""
    return np.asarray((np.abs(first_look.slope) >= SUSPECT_SLOPE).any(axis=1))


def _chosen(columns: PlantColumns, condition: Condition) -> _Chosen:
    """The newest readings with a temperature, of gauges fine enough, whatever element they were read on.

    What makes them follow viscosity or flow is the oil, an instrument or the machine: it outlasts an element.
    """
    ever = (finished_elements(columns), fitted_elements(columns))
    position = np.concatenate([each.position[each.of_readings()] for each in ever])
    day = np.concatenate([each.dp.day for each in ever])
    degC = np.concatenate([each.dp.oil_temperature_degC for each in ever])
    by_vacuum = np.array([place is Place.SUCTION for place in columns.positions.place], dtype=bool)
    kept = np.flatnonzero(
        ~np.isnan(degC)
        & (day >= columns.as_of_day - LOOKS_BACK_D)
        & (columns.in_service() & ~by_vacuum & ~np.isnan(condition.warm.viscosity_mm2_s))[position]
    )
    kept = kept[np.lexsort((day[kept], position[kept]))]
    count = np.bincount(position[kept], minlength=len(by_vacuum))
    from_end = np.cumsum(count)[position[kept]] - np.arange(len(kept))
    kept = kept[(from_end <= LOOKS_BACK) & (count > FEWEST_FREEDOM + 3.0)[position[kept]]]
    return _restated(columns, condition, ever, kept)


def _restated(columns: PlantColumns, condition: Condition, ever: tuple[Elements, Elements], kept: Ints) -> _Chosen:
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
        chosen = _Chosen(
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
    return chosen.only(((share > 0.5) & (np.diff(chosen.offsets) > FEWEST_FREEDOM + 3.0))[chosen.owner])


def _sure(found: LocalSlopes, which: int, known_sd: Floats, misread_sd: float) -> Flags:
    """Whether a slope (P,) is beyond its own error, what the law leaves open, and what misreading alone makes of it.

    Misreading of a regressor flattens: it can only make too small an exponent.
    """
    slope = found.slope[:, which]
    flattened = np.where(slope < 0.0, (misread_sd / found.moved[:, which]) ** 2, 0.0)
    return np.asarray(np.abs(slope) - known_sd - flattened >= SURE_SDS * found.se[:, which])


def _by_viscosity(
    columns: PlantColumns, condition: Condition, chosen: _Chosen, found: LocalSlopes
) -> Iterator[Diagnosis]:
    unsplit = np.isnan(condition.warm.housing_dp_bar)
    known_sd = np.hypot(condition.warm.viscosity_slope_sd, np.where(unsplit, UNSPLIT_SLOPE_SD, 0.0))
    sure = _sure(found, 0, known_sd, TEMPERATURE_SD_K * LN_VISCOSITY_PER_K)
    sure &= (found.freedom >= FEWEST_FREEDOM) & (found.moved[:, 0] >= LEAST_MOVED_VISCOSITY)
    for position in np.flatnonzero(sure & (np.abs(found.slope[:, 0]) >= OFF_BY_VISCOSITY)).tolist():
        degC = chosen.oil_temperature_degC[chosen.of(position)]
        yield _told(
            *(columns, position, "restated-dp-follows-viscosity", chosen),
            exponent=1.0 + float(found.slope[position, 0]),
            se=float(found.se[position, 0]),
            more={"coldest_degC": round(float(degC.min()), 1), "warmest_degC": round(float(degC.max()), 1)},
        )


def _by_flow(columns: PlantColumns, condition: Condition, chosen: _Chosen, found: LocalSlopes) -> Iterator[Diagnosis]:
    known_sd = np.where(np.isnan(condition.warm.housing_dp_bar), UNSPLIT_SLOPE_SD, SPLIT_FLOW_SLOPE_SD)
    slope, sure = found.slope[:, 1], _sure(found, 1, known_sd, FLOW_SD)
    sure &= (found.freedom >= FEWEST_FREEDOM) & (found.moved[:, 1] >= LEAST_MOVED_FLOW)
    for code, outside in (
        ("dp-follows-flow-squared", slope >= TOO_STEEP_BY_FLOW),
        ("dp-ignores-flow", slope <= TOO_FLAT_BY_FLOW),
    ):
        for position in np.flatnonzero(sure & outside).tolist():
            flow_lpm = chosen.flow_lpm[chosen.of(position)]
            yield _told(
                *(columns, position, code, chosen),
                exponent=1.0 + float(slope[position]),
                se=float(found.se[position, 1]),
                more={
                    "least_flow_lpm": round(float(flow_lpm.min()), 1),
                    "most_flow_lpm": round(float(flow_lpm.max()), 1),
                },
            )


def _told(
    columns: PlantColumns,
    position: int,
    code: str,
    chosen: _Chosen,
    *,
    exponent: float,
    se: float,
    more: dict[str, Any],
) -> Diagnosis:
    day = chosen.day[chosen.of(position)]
    at_day = float(day[-1])
    numbers: dict[str, Any] = {
        "exponent": round(exponent, 2),
        "se": round(se, 2),
        "readings": len(day),
        "first_day": float(day[0]),
        "at_day": at_day,
        **more,
    }
    system = int(columns.positions.system[position])
    return Diagnosis(system, position, code, Severity.SOON, numbers, TaskKind.INSPECT, since_day=at_day)


def _two_levels(
    columns: PlantColumns, condition: Condition, chosen: _Chosen, found: LocalSlopes
) -> Iterator[Diagnosis]:
    """Where nobody measures the flow: ΔP goes to and fro between two levels, as with a flow that comes and goes."""
    owner = chosen.owner
    positions = len(found.freedom)
    sd = np.bincount(owner, chosen.sd, positions) / np.maximum(np.bincount(owner, minlength=positions), 1)
    wide = np.nan_to_num(found.scale * sd) >= APART_LOG / 6.0
    wide &= found.freedom >= FEWEST_FREEDOM
    if not wide.any():
        return
    high = found.residual[wide[owner]] > 0.0
    chosen = chosen.only(wide[owner])
    owner = chosen.owner
    for _ in range(_ROUNDS):
        split = chosen.slopes(chosen.log_viscosity, high.astype(np.float64), rounds=FIRST_LOOK)
        apart = np.nan_to_num(split.slope[:, 1])
        high = split.residual + apart[owner] * high > 0.5 * apart[owner]
    count = np.bincount(owner, minlength=positions)
    share = np.bincount(owner, high, positions) / np.maximum(count, 1)
    crossing = (high[1:] != high[:-1]) & (owner[1:] == owner[:-1])
    crossings = np.bincount(owner[1:], crossing, positions)
    scatter = split.scale * sd
    clear = (apart >= APART_LOG) & (apart >= APART_SCATTERS * scatter) & (crossings >= FEWEST_CROSSINGS)
    clear &= (share >= FEWEST_SHARE) & (share <= 1.0 - FEWEST_SHARE)
    step_bar = condition.log_shift_bar / SHIFT_IN_STEPS
    for position in np.flatnonzero(clear).tolist():
        own = chosen.of(position)
        is_high, shown_bar, day = high[own], chosen.shown_bar[own], chosen.day[own]
        low_bar, high_bar = float(np.median(shown_bar[~is_high])), float(np.median(shown_bar[is_high]))
        if high_bar - low_bar < APART_STEPS * step_bar[position]:
            continue
        at_day = float(day[-1])
        numbers: dict[str, Any] = {
            "low_bar": round(low_bar, 3),
            "high_bar": round(high_bar, 3),
            "times": round(float(np.exp(apart[position])), 2),
            "readings": len(day),
            "low_readings": int((~is_high).sum()),
            "crossings": int(crossings[position]),
            "first_day": float(day[0]),
            "at_day": at_day,
        }
        system = int(columns.positions.system[position])
        yield Diagnosis(
            *(system, position, "dp-jumps-between-two-levels", Severity.SOON, numbers, TaskKind.INSPECT),
            since_day=at_day,
        )
