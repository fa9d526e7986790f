"""Whether ΔP follows viscosity and flow as that of an element does: each in proportion, so that restated it does not.

What the restated readings of a position still have in common with the viscosity or the flow noted beside them, apart
from the element's own slow rise, is the error of the exponent: 1 is an element's, 0 says that what was noted has
nothing to do with the oil in the filter, 2 of the flow is a restriction. A slope is believed as far as it is beyond
its own error, what the oil's law and an unknown housing leave open, and what misread instruments make of it.

A wrong viscosity grade of the same kind changes the exponent by a twelfth only (ISO VG 46 and 68 of viscosity index
100 by ASTM D341): that shows in a new element's level, not here.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from scheduler.engineering.pressure_drop import FLOW_SD, SHIFT_IN_STEPS, TEMPERATURE_SD_K, UNSPLIT_SLOPE_SD
from scheduler.planning.condition import Condition
from scheduler.planning.current_readings import LN_VISCOSITY_PER_K
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.lately_read import LatelyRead, lately_read
from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.statistics.local_slopes import ROUNDS, LocalSlopes, blocks_of, local_slopes
from scheduler.vocabulary import Severity, TaskKind

FIRST_LOOK, SUSPECT_SLOPE = 2, 0.2
"""Rounds of reweighting for all positions, and the slope from which one is looked at closer (ours)."""

FEWEST_FREEDOM = 7.0
SURE_SDS = 2.25
"""Standard errors beyond all that is allowed for otherwise, by tests/measure/reading_rules.py."""

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


def exponent_diagnoses(columns: PlantColumns, condition: Condition) -> list[Diagnosis]:
    """Of every position what stands now."""
    chosen = lately_read(columns, condition)
    has_flow = np.bincount(chosen.owner, ~np.isnan(chosen.log_flow), len(columns.positions.code))
    measured = (has_flow > 0.5 * np.diff(chosen.offsets))[chosen.owner]
    with_flow, without_flow = chosen.only(measured & ~np.isnan(chosen.log_flow)), chosen.only(~measured)
    found: list[Diagnosis] = []
    if len(with_flow.day):
        suspect = _suspect(_slopes(with_flow, with_flow.log_viscosity, with_flow.log_flow, rounds=FIRST_LOOK))
        with_flow = with_flow.only(suspect[with_flow.owner])
        slopes = _slopes(with_flow, with_flow.log_viscosity, with_flow.log_flow)
        found += _by_viscosity(columns, condition, with_flow, slopes)
        found += _by_flow(columns, condition, with_flow, slopes)
    if len(without_flow.day):
        first_look = _slopes(without_flow, without_flow.log_viscosity, rounds=FIRST_LOOK)
        found += _two_levels(columns, condition, without_flow, first_look)
        without_flow = without_flow.only(_suspect(first_look)[without_flow.owner])
        found += _by_viscosity(columns, condition, without_flow, _slopes(without_flow, without_flow.log_viscosity))
    return found


def _slopes(chosen: LatelyRead, *regressors: Floats, rounds: int = ROUNDS) -> LocalSlopes:
    """With a line in time for each few readings on one element."""
    at = chosen.day - (chosen.day[0] if len(chosen.day) else 0.0)
    block = blocks_of(chosen.block_offsets())
    return local_slopes(
        chosen.log_dp, np.column_stack(regressors), at, chosen.sd, chosen.offsets, block, rounds=rounds
    )


def _suspect(first_look: LocalSlopes) -> Flags:
    """Positions (P,) of which an exponent may be off: most are not, and need no closer look."""
    return np.asarray((np.abs(first_look.slope) >= SUSPECT_SLOPE).any(axis=1))


def _sure(found: LocalSlopes, which: int, known_sd: Floats, misread_sd: float) -> Flags:
    """Whether a slope (P,) is beyond its own error, what the law leaves open, and what misreading alone makes of it.

    Misreading of a regressor flattens: it can only make too small an exponent.
    """
    slope = found.slope[:, which]
    flattened = np.where(slope < 0.0, (misread_sd / found.moved[:, which]) ** 2, 0.0)
    return np.asarray(np.abs(slope) - known_sd - flattened >= SURE_SDS * found.se[:, which])


def _by_viscosity(
    columns: PlantColumns, condition: Condition, chosen: LatelyRead, found: LocalSlopes
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


def _by_flow(
    columns: PlantColumns, condition: Condition, chosen: LatelyRead, found: LocalSlopes
) -> Iterator[Diagnosis]:
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
    chosen: LatelyRead,
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
    columns: PlantColumns, condition: Condition, chosen: LatelyRead, found: LocalSlopes
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
        split = _slopes(chosen, chosen.log_viscosity, high.astype(np.float64), rounds=FIRST_LOOK)
        apart = np.nan_to_num(split.slope[:, 1])
        high = split.residual + apart[owner] * high > 0.5 * apart[owner]
    share = np.bincount(owner, high, positions) / np.maximum(np.bincount(owner, minlength=positions), 1)
    crossing = (high[1:] != high[:-1]) & (owner[1:] == owner[:-1])
    crossings = np.bincount(owner[1:], crossing, positions)
    clear = (apart >= APART_LOG) & (apart >= APART_SCATTERS * split.scale * sd) & (crossings >= FEWEST_CROSSINGS)
    clear &= (share >= FEWEST_SHARE) & (share <= 1.0 - FEWEST_SHARE)
    step_bar = condition.log_shift_bar / SHIFT_IN_STEPS
    for position in np.flatnonzero(clear).tolist():
        numbers = _levels(chosen, position, high[chosen.of(position)], float(apart[position]))
        if numbers["high_bar"] - numbers["low_bar"] >= APART_STEPS * step_bar[position]:
            yield Diagnosis(
                *(int(columns.positions.system[position]), position, "dp-jumps-between-two-levels"),
                *(Severity.SOON, numbers, TaskKind.INSPECT),
                since_day=numbers["at_day"],
            )


def _levels(chosen: LatelyRead, position: int, is_high: Flags, apart_log: float) -> dict[str, Any]:
    shown_bar, day = chosen.shown_bar[chosen.of(position)], chosen.day[chosen.of(position)]
    return {
        "low_bar": round(float(np.median(shown_bar[~is_high])), 3),
        "high_bar": round(float(np.median(shown_bar[is_high])), 3),
        "times": round(float(np.exp(apart_log)), 2),
        "readings": len(day),
        "low_readings": int((~is_high).sum()),
        "crossings": int((is_high[1:] != is_high[:-1]).sum()),
        "first_day": float(day[0]),
        "at_day": float(day[-1]),
    }
