"""Which lives teach, and how they ended: early, or at their limit."""

import numpy as np

from scheduler.planning.duty import Duty
from scheduler.planning.elements import Elements, finished_elements, fitted_elements
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.life_model import FirstGuess, LifeEnd
from scheduler.vocabulary import EventKind, RemovalReason

WITHOUT_HISTORY_H = 2000.0
WITHOUT_HISTORY_LOG_SD = 0.8
"""An element's life before anything is known: 2,000 h give or take a factor of 2.2 (ours)."""

MAKERS_HOURS_SHARE = 1.5
MAKERS_HOURS_LOG_SD = 0.6
"""A stated interval is set so that most elements outlive it (ours)."""

ENDED_BY_INTERVAL_SHARE = 0.9
"""A change told as `due` from here of the hour or age limit on was due by that limit, not by condition (ours)."""

NEAR_LIMIT_SHARE = 0.85
"""Of the terminal ΔP: from here on a change told as due was at the limit (ours)."""

_ENDS_AT_LIMIT = frozenset({RemovalReason.DUE, RemovalReason.INDICATOR, RemovalReason.FAILURE})
_NOT_AN_ORDINARY_LIFE = frozenset({EventKind.COMMISSIONED, EventKind.PUMP_FAILURE})


def ends_of(columns: PlantColumns, duty: Duty, last_log_share: Floats) -> Ints:
    """How each finished life ended, (L,) `LifeEnd` codes.

    last_log_share (L,): ln of its last ΔP over its terminal, NaN where nothing was read. A change told as due whose
    ΔP was last seen well below the terminal may have been made on a date with its risk, or late up a steep knee: its
    readings have to say. Taken for an end at the limit, such changes would make each life look shorter than the last.
    """
    reasons = columns.lives.reason
    due = np.array([reason is RemovalReason.DUE for reason in reasons], dtype=bool)
    unknown = np.array([reason is RemovalReason.UNKNOWN for reason in reasons], dtype=bool)
    below = np.nan_to_num(last_log_share, nan=0.0) < np.log(NEAR_LIMIT_SHARE)
    at_limit = ended_at_limit(columns, duty)
    ends = np.where(at_limit, LifeEnd.AT_LIMIT, LifeEnd.EARLY)
    return np.where(unknown | (at_limit & due & below), LifeEnd.UNTOLD, ends).astype(np.intp)


def ordinary_lives(columns: PlantColumns, duty: Duty) -> Flags:
    """Finished lives (L,) that tell of others: with known hours, no mistake, and no trouble during them."""
    lives = columns.lives
    mistaken = np.array([reason is RemovalReason.MISTAKE for reason in lives.reason], dtype=bool)
    return np.asarray(~np.isnan(duty.life_h) & ~mistaken & ~_saw_trouble(columns, finished_elements(columns)))


def ordinary_so_far(columns: PlantColumns, duty: Duty) -> Flags:
    """The same of what is fitted now, (P,)."""
    return np.asarray(duty.run_h > 0.0) & ~_saw_trouble(columns, fitted_elements(columns))


def first_guess(columns: PlantColumns) -> FirstGuess:
    """The life of each position's element before any life is known, (P,)."""
    stated = columns.positions.max_hours
    return FirstGuess(
        log_h=np.log(np.where(np.isnan(stated), WITHOUT_HISTORY_H, MAKERS_HOURS_SHARE * stated)),
        log_sd=np.where(np.isnan(stated), WITHOUT_HISTORY_LOG_SD, MAKERS_HOURS_LOG_SD),
    )


def ended_at_limit(columns: PlantColumns, duty: Duty) -> Flags:
    """Finished lives (L,) that were ended by their condition as it was told, and by no interval."""
    lives, positions = columns.lives, columns.positions
    by_hours = duty.life_h >= ENDED_BY_INTERVAL_SHARE * positions.max_hours[lives.position]
    age_d = lives.removed_day - lives.fitted_day
    by_age = age_d >= ENDED_BY_INTERVAL_SHARE * positions.max_age_d[lives.position]
    by_interval = by_hours | by_age
    return np.array(
        [
            reason in _ENDS_AT_LIMIT and not (reason is RemovalReason.DUE and interval)
            for reason, interval in zip(lives.reason, by_interval, strict=True)
        ],
        dtype=bool,
    )


def _saw_trouble(columns: PlantColumns, elements: Elements) -> Flags:
    """Elements (E,) in whose time the system was commissioned or lost a pump: no measure of an ordinary life."""
    events = columns.events
    system = columns.positions.system[elements.position]
    troubled = np.zeros(len(elements), dtype=bool)
    for row, kind in enumerate(events.kind):
        if kind in _NOT_AN_ORDINARY_LIFE:
            day = events.day[row]
            during = (elements.fitted_day - 1.0 <= day) & (day <= elements.removed_day)
            troubled |= during & (system == events.system[row])
    return troubled
