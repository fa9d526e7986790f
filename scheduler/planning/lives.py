"""The life prior of what is fitted: every finished life of the type and the position, ended early or at its limit."""

import numpy as np

from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Flags, PlantColumns
from scheduler.statistics.life_model import LifePrior, pooled_life_prior
from scheduler.vocabulary import EventKind, RemovalReason

WITHOUT_HISTORY_H = 2000.0
WITHOUT_HISTORY_LOG_SD = 0.8
"""An element's life before anything is known: 2,000 h give or take a factor of 2.2 (ours)."""

MAKERS_HOURS_SHARE = 1.5
MAKERS_HOURS_LOG_SD = 0.6
"""A stated interval is set so that most elements outlive it (ours)."""

ENDED_BY_INTERVAL_SHARE = 0.9
"""A change told as `due` from here of the hour or age limit on was due by that limit, not by condition (ours)."""

_ENDS_AT_LIMIT = frozenset({RemovalReason.DUE, RemovalReason.INDICATOR, RemovalReason.FAILURE})
_NOT_AN_ORDINARY_LIFE = frozenset({EventKind.COMMISSIONED, EventKind.PUMP_FAILURE})


def pooled_prior(columns: PlantColumns, duty: Duty) -> LifePrior:
    """The life prior of what is fitted in each position, from every finished life with known hours."""
    lives = columns.lives
    ordinary = ~np.isnan(duty.life_h) & ~_begins_after_trouble(columns)
    ordinary &= np.array([reason is not RemovalReason.MISTAKE for reason in lives.reason], dtype=bool)
    fitted_type = np.where(columns.fitted.type >= 0, columns.fitted.type, columns.positions.specified_type)
    stated = columns.positions.max_hours
    return pooled_life_prior(
        duty.life_h[ordinary],
        _ended_at_limit(columns, duty)[ordinary],
        lives.type[ordinary],
        lives.position[ordinary],
        for_type=fitted_type,
        for_position=np.arange(len(fitted_type)),
        first_guess_h=np.where(np.isnan(stated), WITHOUT_HISTORY_H, MAKERS_HOURS_SHARE * stated),
        first_guess_log_sd=np.where(np.isnan(stated), WITHOUT_HISTORY_LOG_SD, MAKERS_HOURS_LOG_SD),
    )


def _ended_at_limit(columns: PlantColumns, duty: Duty) -> Flags:
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


def _begins_after_trouble(columns: PlantColumns) -> Flags:
    """Lives (L,) during which the system was commissioned or lost a pump: no measure of an ordinary life."""
    lives, events = columns.lives, columns.events
    system = columns.positions.system[lives.position]
    begins = np.zeros(len(lives.position), dtype=bool)
    for row, kind in enumerate(events.kind):
        if kind in _NOT_AN_ORDINARY_LIFE:
            day = events.day[row]
            during = (lives.fitted_day - 1.0 <= day) & (day <= lives.removed_day)
            begins |= during & (system == events.system[row])
    return begins
