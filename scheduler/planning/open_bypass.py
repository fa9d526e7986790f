"""Dirty oil with a clean-looking element late in its life: the oil goes round the element, its bypass stands open.

Two things have to agree. The counts, ΔP and samples behind the element make a bypass the likeliest cause
(`contamination`), and the ΔP is lower than it should be by now: of all lives that this position's element may have
(its prior) and all shapes of the curve that are believed of it, few would show so little after so many run hours.
Either alone is told elsewhere as what it is; without ΔP nothing is said.
"""

from collections.abc import Iterable, Iterator

import numpy as np
from scipy.special import ndtr, ndtri

from scheduler.engineering.pressure_drop import started_log
from scheduler.planning.cleanliness import SystemCleanliness, Verdict
from scheduler.planning.condition import Condition
from scheduler.planning.contamination import Contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.contamination_causes import Cause
from scheduler.statistics.load_grid import load_at_rise, rise_at_load
from scheduler.vocabulary import Severity, TaskKind

BYPASS_PROBABILITY = 0.5
"""From here on of the cause (ours, by tests/measure/system_faults.py)."""

SO_LOW_PROBABILITY = 0.25
"""P(a sound element shows so little by now) at most (ours, as above)."""

LATE_SHARE = 0.3
"""Of the usual life: before it, a low ΔP is what a new element shows (ours)."""

CLEAN_LOOKING_SHARE = 0.5
"""Of the terminal ΔP: above it nobody would call the element clean (ours)."""

RISEN_PROBABILITY = 0.8
"""Where no target is missed, the counts have risen with this chance at least (ours)."""

_NEWEST, _FEWEST = 5, 3
_LEVEL_LOG_SD = 0.1
_LIFE_NODES = ndtri((np.arange(15) + 0.5) / 15.0)


def open_bypasses(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    cleanliness: Iterable[SystemCleanliness],
    contamination: Contamination,
) -> list[Diagnosis]:
    """Of every system whose causes were weighed, the element that was looked at."""
    missed = {each.system: each for each in cleanliness if each.verdict is Verdict.MISSED}
    found: list[Diagnosis] = []
    for system, cause in sorted(contamination.causes.items()):
        if cause.probability[Cause.BYPASS] >= BYPASS_PROBABILITY and condition.has_forecast[cause.position]:
            found += _of_element(columns, duty, condition, contamination, system, missed.get(system))
    return found


def _of_element(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    contamination: Contamination,
    system: int,
    missed: SystemCleanliness | None,
) -> Iterator[Diagnosis]:
    cause = contamination.causes[system]
    position = cause.position
    rows = np.arange(columns.dp.offsets[position], columns.dp.offsets[position + 1])
    rows = rows[condition.counted()[rows]][-_NEWEST:]
    life_h = float(np.exp(condition.life.log_median[position]))
    run_h, terminal = float(duty.run_h[position]), float(condition.terminal_element_dp_bar[position])
    if len(rows) < _FEWEST or run_h < LATE_SHARE * life_h:
        return
    level = float(np.median(condition.element_dp_bar[rows]))
    so_low = so_low_probability(condition, position, level, run_h)
    if level >= CLEAN_LOOKING_SHARE * terminal or so_low > SO_LOW_PROBABILITY:
        return
    change = contamination.change
    if missed is None and change.rise_probability()[system] < RISEN_PROBABILITY:
        return  # an element that lets oil by, but no dirty oil
    last_day = max(float(columns.dp.day[rows[-1]]), float(contamination.history.last_day()[system]))
    yield Diagnosis(
        system,
        position,
        "dirty-oil-clean-element",
        Severity.SOON if missed is None else Severity.NOW,
        {
            "dp_bar": round(level, 3),
            "terminal_bar": round(terminal, 3),
            "run_h": round(run_h),
            "life_h": round(life_h),
            "so_low": round(so_low, 3),
            "probability": round(cause.probability[Cause.BYPASS], 3),
            "times": round(float(np.exp(change.log_step[system])), 1),
            "counts_since_day": float(change.since_day[system]),
            "target": None if missed is None else missed.facts["target"],
            "missing": list(cause.missing),
            "at_day": last_day,
        },
        TaskKind.INSPECT,
        since_day=last_day,
    )


def so_low_probability(condition: Condition, position: int, element_dp_bar: float, run_h: float) -> float:
    """P(a sound element of this position shows that restated ΔP or less after so many run hours)."""
    prior, shift = condition.prior, condition.log_shift_bar[position]
    clean = float(condition.log_clean_before[position])
    end = float(started_log(condition.terminal_element_dp_bar[position], shift))
    life_h = np.exp(prior.life.log_median[position] + prior.life.log_sd[position] * _LIFE_NODES)
    shapes = len(prior.shapes)
    at_end = load_at_rise(prior.shapes, np.array([max(end - clean, 0.0)]))[0]
    load = at_end[:, None] * (run_h / life_h)[None, :]
    shape = np.repeat(np.arange(shapes), len(life_h))
    rise = rise_at_load(prior.shapes, shape, load.ravel()).reshape(load.shape)
    level = float(started_log(element_dp_bar, shift))
    below = ndtr((level - clean - rise) / np.hypot(np.sqrt(prior.clean_log_var[position]), _LEVEL_LOG_SD))
    return float(prior.shape_weights[position] @ below.mean(axis=1))
