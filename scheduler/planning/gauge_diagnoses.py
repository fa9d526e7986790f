"""A gauge that shows nothing of what goes on, and a gauge that shows cold oil where people see dirt.

A dead gauge is told from an honest one by what the oil did meanwhile: the readings of an honest one follow the
viscosity and the flow that were noted beside them. So the same mark, again and again, is weighed by how likely an
honest gauge would have shown it; on a coarse gauge that is likely, and nothing is said.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from scheduler.engineering.pressure_drop import SHIFT_IN_STEPS
from scheduler.engineering.reading_gate import Gate
from scheduler.planning.condition import Condition
from scheduler.planning.current_readings import (
    FROZEN_RATIO,
    CurrentReadings,
    current_readings,
    flow_ratio,
    restated_log_sd,
    taken,
)
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.vocabulary import Severity, TaskKind

SAME_STEPS = 0.55
"""Readings so near to the newest one stand on its mark: half a step, and what is lost in writing them down."""

FEWEST_SAME, MOST_SAME = 4, 12
HONEST_LOG_CHANCE = -9.2
"""An honest gauge would show the same mark so often once in ten thousand times at most (ours)."""

HONEST_LOG_SDS = (0.02, 0.04, 0.08, 0.16, 0.32)
"""Scatter that an honest reading may have about its state; the most favourable counts, for how carefully a plant
reads is not known."""

NOTED_LOG_SD = 0.12
"""Of a restated reading whose temperature and flow were both noted, about (`restated_log_sd`)."""

LEAST_CHANCE = 0.01
"""No single reading says more against a gauge than that it is one in a hundred: people note wrong temperatures."""

FEWEST_ZEROS, FEWEST_ZEROS_WITHOUT_FLOW = 3, 5
"""Zero with a measured flow; and where nobody measured it, when the machine may have stood (ours)."""

ZERO_SDS = 2.0
SHOWN_STEPS = 1.0
"""What even the least new element would show, in gauge steps: from there on it would not be read as zero (ours)."""

COLD_GATES = frozenset({Gate.USABLE, Gate.COLD, Gate.BELOW_RESOLUTION})
RAISED_LOG = float(np.log(1.4))
RAISED_STEPS = 2.0
"""A rise as read that people notice (ours)."""

LEFT_SHARE, LEFT_LOG = 0.40, 0.30
"""Of such a rise what may be left when it is restated, as a share and as a ratio (ours)."""

BY_VISCOSITY_SHARE = 0.6
"""Of the rise, as logarithms: so much at least the viscosity has to explain (ours)."""

LOOKS_BACK, FEWEST_BEFORE, WARM_RATIO = 14, 3, 1.3
"""Among so many newest readings the two new ones and three at least with oil near its warm viscosity (ours)."""


@dataclass(frozen=True, slots=True)
class _Read:
    """Of all readings (N,): as read, the element's part restated, viscosity and flow over the warm ones."""

    shown_bar: Floats
    element_bar: Floats
    viscosity_ratio: Floats
    flow_ratio: Floats
    log_sd: Floats


def gauge_diagnoses(columns: PlantColumns, condition: Condition) -> list[Diagnosis]:
    """Of every position what stands now."""
    flow = flow_ratio(columns, condition)
    read = _Read(
        condition.assembly_dp_bar,
        condition.element_dp_bar,
        np.minimum(condition.viscosity_ratio, FROZEN_RATIO),
        np.where(np.isnan(flow), 1.0, flow),
        restated_log_sd(columns, condition),
    )
    told = [Gate.USABLE, Gate.BELOW_RESOLUTION, Gate.COLD, Gate.LOW_FLOW, Gate.NO_FLOW]
    shown = current_readings(columns, condition, told)
    by_vacuum = columns.by_vacuum()
    shown = shown.only((columns.dp.flow_lpm[shown.row] != 0.0) & ~by_vacuum[shown.owner])
    found = list(_stuck(columns, condition, read, shown))
    found += _at_zero(columns, condition, read, shown)
    found += _cold_not_dirt(columns, condition, read)
    return found


def _step_bar(condition: Condition) -> Floats:
    return condition.log_shift_bar / SHIFT_IN_STEPS


def _same_as_the_newest(condition: Condition, read: _Read, shown: CurrentReadings) -> Ints:
    """(P, K) rows of the newest readings on one and the same mark; −1 from the first that is on another."""
    rows = shown.from_end(MOST_SAME)
    bar = taken(read.shown_bar, rows)
    same = np.abs(bar - bar[:, :1]) <= SAME_STEPS * _step_bar(condition)[:, None]
    return np.where(np.cumprod(same, axis=1, dtype=bool), rows, -1)


def _stuck(columns: PlantColumns, condition: Condition, read: _Read, shown: CurrentReadings) -> Iterator[Diagnosis]:
    """The same mark while oil and flow changed by more than its step hides."""
    rows = _same_as_the_newest(condition, read, shown)
    step_bar = _step_bar(condition)
    candidates = np.flatnonzero(
        ((rows >= 0).sum(axis=1) >= FEWEST_SAME) & (taken(read.shown_bar, rows[:, :1])[:, 0] > 0.5 * step_bar)
    )
    for position in candidates.tolist():
        same = rows[position][rows[position] >= 0]
        should_bar = _as_an_honest_gauge(read, same)
        if _honest_log_chance(read, same, should_bar, float(step_bar[position])) < HONEST_LOG_CHANCE:
            yield _dead(columns, position, read, same, (float(should_bar.min()), float(should_bar.max())))


def _as_an_honest_gauge(read: _Read, rows: Ints) -> Floats:
    """What would have been read at each state with the element as it is in the middle of these readings."""
    element_bar = max(float(np.median(read.element_bar[rows])), 0.0)
    state = read.viscosity_ratio[rows] * read.flow_ratio[rows]
    housing_bar = np.maximum(read.shown_bar[rows] - read.element_bar[rows] * state, 0.0)
    return np.asarray(element_bar * state + housing_bar)


def _honest_log_chance(read: _Read, rows: Ints, should_bar: Floats, step_bar: float) -> float:
    """ln of the chance that an honest gauge shows one mark at all of these, at the most favourable scatter."""
    low, high = read.shown_bar[rows] - 0.5 * step_bar, read.shown_bar[rows] + 0.5 * step_bar
    # a state that was not told may have been any: its reading says little against the gauge
    unsure = np.maximum(read.log_sd[rows] - NOTED_LOG_SD, 0.0)
    most = -np.inf
    for log_sd in HONEST_LOG_SDS:
        sd_bar = np.maximum(should_bar * np.hypot(log_sd, unsure), 1e-6)
        chance = ndtr((high - should_bar) / sd_bar) - ndtr((low - should_bar) / sd_bar)
        most = max(most, float(np.log(np.maximum(chance, LEAST_CHANCE)).sum()))
    return most


def _at_zero(columns: PlantColumns, condition: Condition, read: _Read, shown: CurrentReadings) -> Iterator[Diagnosis]:
    """Zero again and again, where even a new element would show a mark."""
    rows = shown.from_end(FEWEST_ZEROS_WITHOUT_FLOW)
    step_bar = _step_bar(condition)
    clean_bar = np.maximum(np.exp(condition.log_clean_before) - condition.log_shift_bar, 0.0)
    sd = np.sqrt(condition.prior.clean_log_var[:, None] + taken(read.log_sd, rows) ** 2)
    least_bar = clean_bar[:, None] * np.exp(-ZERO_SDS * sd)
    least_bar *= taken(read.viscosity_ratio, rows) * taken(read.flow_ratio, rows)
    is_zero = np.abs(taken(read.shown_bar, rows)) < 0.5 * step_bar[:, None]
    is_zero &= least_bar >= SHOWN_STEPS * step_bar[:, None]
    measured = ~np.isnan(taken(columns.dp.flow_lpm, rows))
    by_flow = (is_zero & measured)[:, :FEWEST_ZEROS].all(axis=1)
    for position in np.flatnonzero(by_flow | is_zero.all(axis=1)).tolist():
        zeros = rows[position][np.cumprod(is_zero[position], dtype=bool)]
        state = read.viscosity_ratio[zeros] * read.flow_ratio[zeros]
        should_bar = clean_bar[position] * state
        yield _dead(columns, position, read, zeros, (float(should_bar.min()), float(should_bar.max())))


def _dead(
    columns: PlantColumns, position: int, read: _Read, rows: Ints, should_bar: tuple[float, float]
) -> Diagnosis:
    degC = columns.dp.oil_temperature_degC[rows]
    flow_lpm = columns.dp.flow_lpm[rows]
    at_day = float(columns.dp.day[rows[0]])
    numbers: dict[str, Any] = {
        "shown_bar": round(float(read.shown_bar[rows[0]]), 3),
        "readings": len(rows),
        "first_day": float(columns.dp.day[rows].min()),
        "at_day": at_day,
        "should_least_bar": round(should_bar[0], 3),
        "should_most_bar": round(should_bar[1], 3),
        "coldest_degC": _least(degC),
        "warmest_degC": _most(degC),
        "least_flow_lpm": _least(flow_lpm),
        "most_flow_lpm": _most(flow_lpm),
    }
    system = int(columns.positions.system[position])
    return Diagnosis(
        *(system, position, "gauge-shows-nothing", Severity.SOON, numbers, TaskKind.INSPECT), since_day=at_day
    )


@dataclass(frozen=True, slots=True)
class _Rise:
    """Of Q positions: rows of the newest two readings (Q, 2) and of the warm ones before (Q, K; −1: none), with the
    middle of these as read and restated (Q,)."""

    position: Ints
    new: Ints
    earlier: Ints
    before_bar: Floats
    restated_before_bar: Floats


def _cold_not_dirt(columns: PlantColumns, condition: Condition, read: _Read) -> Iterator[Diagnosis]:
    """The two newest readings stand well above what was read with warm oil; restated they do not."""
    shown = current_readings(columns, condition, COLD_GATES)
    shown = shown.only(~np.isnan(columns.dp.oil_temperature_degC[shown.row]))
    rows = shown.from_end(LOOKS_BACK)
    new, earlier = rows[:, :2], rows[:, 2:]
    is_warm = taken(read.viscosity_ratio, earlier) <= WARM_RATIO
    able = np.flatnonzero((is_warm.sum(axis=1) >= FEWEST_BEFORE) & (new >= 0).all(axis=1))
    if not len(able):
        return
    new, earlier = new[able], np.where(is_warm, earlier, -1)[able]
    middle = [np.nanmedian(taken(bar, earlier), axis=1) for bar in (read.shown_bar, read.element_bar)]
    rise = _Rise(able, new, earlier, *middle)
    for at in np.flatnonzero(_is_cold_oil(condition, read, rise)).tolist():
        yield _told_as_cold(columns, condition, read, rise, at)


def _is_cold_oil(condition: Condition, read: _Read, rise: _Rise) -> Flags:
    """People notice the rise, the viscosity explains most of it, and little is left when it is restated."""
    shift_bar, step_bar = condition.log_shift_bar[rise.position], _step_bar(condition)[rise.position]
    now_bar = taken(read.shown_bar, rise.new)
    log_rise = _started(now_bar, shift_bar[:, None]) - _started(rise.before_bar, shift_bar)[:, None]
    left = _started(taken(read.element_bar, rise.new).mean(axis=1), shift_bar)
    left -= _started(rise.restated_before_bar, shift_bar)
    noticed = (log_rise >= RAISED_LOG) & (now_bar - rise.before_bar[:, None] >= RAISED_STEPS * step_bar[:, None])
    by_viscosity = np.log(taken(read.viscosity_ratio, rise.new)) >= BY_VISCOSITY_SHARE * log_rise
    no_dirt = np.abs(left) <= np.minimum(LEFT_SHARE * log_rise.mean(axis=1), LEFT_LOG)
    return np.asarray((noticed & by_viscosity).all(axis=1) & no_dirt)


def _started(bar: Floats, shift_bar: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(bar, 0.0) + shift_bar))


def _told_as_cold(columns: PlantColumns, condition: Condition, read: _Read, rise: _Rise, at: int) -> Diagnosis:
    position, new, old = int(rise.position[at]), rise.new[at], rise.earlier[at][rise.earlier[at] >= 0]
    at_day, degC = float(columns.dp.day[new[0]]), columns.dp.oil_temperature_degC
    numbers: dict[str, Any] = {
        "before_day": float(np.median(columns.dp.day[old])),
        "before_bar": round(float(rise.before_bar[at]), 3),
        "now_bar": round(float(read.shown_bar[new].mean()), 3),
        "restated_before_bar": round(float(rise.restated_before_bar[at]), 3),
        "restated_now_bar": round(float(read.element_bar[new].mean()), 3),
        "before_degC": round(float(np.median(degC[old])), 1),
        "now_degC": round(float(degC[new].mean()), 1),
        "warm_degC": round(float(condition.warm.oil_temperature_degC[position]), 1),
        "at_day": at_day,
    }
    system = int(columns.positions.system[position])
    return Diagnosis(system, position, "oil-cold-not-dirt", Severity.NOTE, numbers, since_day=at_day)


def _least(values: Floats) -> float | None:
    return None if np.isnan(values).all() else round(float(np.nanmin(values)), 1)


def _most(values: Floats) -> float | None:
    return None if np.isnan(values).all() else round(float(np.nanmax(values)), 1)
