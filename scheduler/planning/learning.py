"""What all the lives of a plant teach of the element that sits in each position now, before its own readings."""

from dataclasses import dataclass, replace

import numpy as np

from scheduler.planning.comparable_readings import Instruments, comparable_readings
from scheduler.planning.duty import Duty
from scheduler.planning.elements import Elements, finished_elements, fitted_elements
from scheduler.planning.lives import ends_of, first_guess, ordinary_lives, ordinary_so_far
from scheduler.planning.makers_curves import makers_curves
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
from scheduler.planning.usable_readings import LogLimits, has_usable, last_level, log_limits, usable_readings
from scheduler.statistics.calibration import Calibration, calibrate
from scheduler.statistics.condition_forecast import ElementPrior, ReadingColumns
from scheduler.statistics.condition_learning import LivesRead, Targets, learn
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import LifeEnd


@dataclass(frozen=True, slots=True)
class Lessons:
    """What the lives taught: the prior of what each position (P,) holds, and how each type's forecasts fared (T,)."""

    prior: ElementPrior
    calibration: Calibration


def learn_from_lives(columns: PlantColumns, duty: Duty, using: Instruments) -> Lessons:
    """Learn from every ordinary life, and hold forecasts of those that ended against their ends."""
    lives, targets = _lives_and_targets(columns, duty, using)
    learned = learn(lives, targets, makers=makers_curves(columns))
    found = calibrate(lives, learned, len(columns.types.part_number))
    kind = targets.where.type
    return Lessons(replace(learned.targets, pit_a=found.a[kind], pit_b=found.b[kind]), found)


def _lives_and_targets(columns: PlantColumns, duty: Duty, using: Instruments) -> tuple[LivesRead, Targets]:
    """Every ordinary life: first those that ended, row by row, then those that still run."""
    finished, fitted = finished_elements(columns), fitted_elements(columns)
    ended_readings, ended_limits, _ = _read(columns, finished, using, duty.life_reading_run_h)
    readings, limits, is_read = _read(columns, fitted, using, duty.reading_run_h)
    ended = np.flatnonzero(ordinary_lives(columns, duty))
    running = np.flatnonzero(is_read & ordinary_so_far(columns, duty))
    own_life = np.full(len(fitted), -1)
    own_life[running] = len(ended) + np.arange(len(running))
    finished_day = 0.5 * (finished.fitted_day + finished.removed_day)
    fitted_day = 0.5 * (fitted.fitted_day + columns.as_of_day)
    ends = ends_of(columns, duty, _last_log_share(ended_readings, ended_limits))
    lives = LivesRead(
        names=columns.types.part_number,
        readings=ended_readings.of(ended).and_then(readings.of(running)),
        run_h=np.concatenate([duty.life_h[ended], np.maximum(duty.run_h[running], 1.0)]),
        end=np.concatenate([ends[ended], np.full(len(running), LifeEnd.RUNNING)]),
        where=_joined(_where(columns, finished, finished_day, ended), _where(columns, fitted, fitted_day, running)),
        log_terminal=np.concatenate([ended_limits.terminal[ended], limits.terminal[running]]),
        log_clean_sheet=np.concatenate([ended_limits.clean_sheet[ended], limits.clean_sheet[running]]),
        clean_log_sd=np.concatenate([ended_limits.clean_log_sd[ended], limits.clean_log_sd[running]]),
    )
    now = np.full(len(fitted), columns.as_of_day)
    targets = Targets(
        where=_where(columns, fitted, now, np.arange(len(fitted))),
        guess=first_guess(columns),
        own_life=own_life,
        log_terminal=limits.terminal,
        log_clean_sheet=limits.clean_sheet,
        clean_log_sd=limits.clean_log_sd,
    )
    return lives, targets


def last_log_share(columns: PlantColumns, duty: Duty, using: Instruments) -> Floats:
    """ln of the last ΔP of each finished life over its terminal, (L,); NaN where either is not known."""
    readings, limits, _ = _read(columns, finished_elements(columns), using, duty.life_reading_run_h)
    return _last_log_share(readings, limits)


def _last_log_share(readings: ReadingColumns, limits: LogLimits) -> Floats:
    return np.asarray(last_level(readings) - limits.terminal)


def _read(
    columns: PlantColumns, elements: Elements, using: Instruments, run_h: Floats
) -> tuple[ReadingColumns, LogLimits, np.ndarray]:
    """The usable readings of elements whose terminal is known, and none of the others."""
    restated = comparable_readings(columns, elements, using)
    readings = usable_readings(elements, restated, run_h)
    is_read = has_usable(readings, restated)
    without = np.repeat(~is_read, np.diff(readings.offsets))
    kept = np.where(is_read, np.diff(readings.offsets), 0)
    return (
        ReadingColumns(
            np.concatenate([[0], np.cumsum(kept)]).astype(np.int64),
            readings.run_h[~without],
            readings.log_dp[~without],
            readings.weight[~without],
        ),
        log_limits(restated),
        is_read,
    )


def _where(columns: PlantColumns, elements: Elements, day: Floats, rows: Ints) -> Where:
    position = elements.position[rows]
    return Where(elements.type[rows], position, columns.positions.system[position], day[rows])


def _joined(one: Where, other: Where) -> Where:
    return Where(
        *(
            np.concatenate([getattr(one, name), getattr(other, name)])
            for name in ("type", "position", "system", "day")
        )
    )
