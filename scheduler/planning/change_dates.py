"""When every position will be changed under the plan, now and in the lives after: what the demand follows from.

A change is not a failure. What is watched by its ΔP is changed when its forecast, by then nearly sharp, accepts no
more risk; what is not watched is changed on the date that can be told already. With `s` the spread of ln life as
known now and `s_end` what will be left of it at the change, the change is the point of the limit's distribution at
which a normal score u becomes −z ρ + √(1 − ρ²) u, ρ = s_end/s, z that of the accepted risk: for ρ → 1 the due date
itself, for ρ → 0 the limit. Ours; derived for normal ln life of which later readings reveal the share 1 − ρ². Left
out: that a watched element may reach its limit before it is due, which would move changes by 0.05 s_end at most; and
that near changes are known better already than far ones will be.

Work that is planned is done on its day, and what needs a stop goes into the last one that begins in time. Later
lives follow the life model under the same rule and the hard limits; their hours come at the average rate of the
year ahead, a year's standstills spread evenly.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.special import ndtr, ndtri

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty, planned_ahead
from scheduler.planning.limit_dates import CAUSES, LimitDates
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.planning.stops import stops_of_system
from scheduler.statistics.competing_triggers import cumulative_hazard
from scheduler.statistics.load_grid import THREE_POINTS
from scheduler.statistics.renewal_demand import LoadCase, next_change
from scheduler.vocabulary import Access, Trigger

LEFT_AT_CHANGE_LOG_SD = 0.17
"""Spread of ln life that a forecast by ΔP still has at the change, if an element is read once in its life. It goes
with the root of the share of a life between readings, as the load since the last one does. Ours: in simulated plants
that were read every 7, 14, 30 and 90 days the median was 0.03, 0.05, 0.08 and 0.11, changes being 250 days apart."""

LOAD_LOG_SD = 0.08
"""Spread of the whole plant's load over a year around what its meters showed; ours."""

BY_THE_WEEK_D = 3.5
"""So much shorter are later lives where no stop decides: work is planned by the week, and done before it is due.
Common practice, no source."""

UNFORESEEN_PER_D = 0.04 / 365.25
"""Changes of what is fitted that no forecast told of: damage, a mistake, a reading that was believed and wrong. Ours:
among elements of simulated plants that were not due for long, 0.3 to 0.5 % were changed within four weeks all the
same."""

_YEAR_D = 365.25
_LEAST_SD = 0.03  # of ln life, so that no class of lives is a point
_CLASS_STEP = 0.04  # of ln days: lives are sorted into classes of this width
_BY_CONDITION = [CAUSES.index(Trigger.PRESSURE), CAUSES.index(Trigger.LIFE)]
_BY_HOURS = [CAUSES.index(Trigger.HOURS), CAUSES.index(Trigger.EVENT)]


@dataclass(frozen=True, slots=True)
class ChangeDates:
    """Changes over periods: the load cases, and the class of each position's later lives, (P,)."""

    edge_d: Floats
    cases: tuple[LoadCase, ...]
    later_class: Ints


@dataclass(frozen=True, slots=True)
class _Stays:
    """Later stays by class, (C,): mean and spread of ln days, and the days at which run hours or age end them."""

    log_mean: Floats
    log_sd: Floats
    by_hours_d: Floats
    by_age_d: Floats

    def cdf(self, age_d: Floats, load: float) -> Floats:
        """P(changed by each age), (C, A), under a load."""
        with np.errstate(divide="ignore"):
            score = (np.log(age_d) + np.log(load) - self.log_mean[:, None]) / self.log_sd[:, None]
        ends_d = np.minimum(self.by_hours_d / load, self.by_age_d)
        return np.where(age_d >= ends_d[:, None], 1.0, ndtr(score))


def change_dates(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    dates: LimitDates,
    risk: Floats,
    planned_day: Mapping[int, float],
    edge_d: Floats,
) -> ChangeDates:
    """Changes of every position in service over the periods between `edge_d` (W + 1,), days from now.

    `planned_day` is the day of the open work that changes a position's element. A position without anything known
    to be fitted, or out of service, is never changed here.
    """
    score = ndtri(1.0 - np.clip(risk, 1e-6, 0.5))
    firsts = _Firsts.of(columns, duty, condition, dates, score, planned_day, edge_d)
    stays, later_class = _later_stays(columns, duty, condition, score)
    age_d = _ages(float(edge_d[-1]))
    cases = tuple(
        LoadCase(
            share=share,
            next_change=next_change(edge_d, age_d, stays.cdf(age_d, load)),
            first_change=partial(firsts.share_by_period, load=load),
        )
        for share, load in load_cases()
    )
    return ChangeDates(edge_d, cases, later_class)


def load_cases() -> list[tuple[float, float]]:
    """Probability and factor of the plant's load: three points of a log-normal of mean 1."""
    middle = -0.5 * LOAD_LOG_SD**2
    return [(share, float(np.exp(middle + LOAD_LOG_SD * point))) for point, share in THREE_POINTS]


@dataclass(frozen=True, slots=True)
class _Firsts:
    """What the first change of each position follows from; days from now, hazards over `day_ahead` (D,)."""

    day_ahead: Floats
    by_condition: Floats  # cumulative hazards (P, D)
    by_hours: Floats
    share_left: Floats  # ρ (P,)
    score: Floats
    certain_d: Floats  # hard limits in days
    planned_d: Floats  # NaN: no work is planned
    asked_d: Floats  # (P, W + 1): days up to which an edge's changes may have been due, for the sake of the stops
    edge_d: Floats
    is_changed: Floats  # 0 for a position that is not in service or of which nothing is known

    @classmethod
    def of(
        cls,
        columns: PlantColumns,
        duty: Duty,
        condition: Condition,
        dates: LimitDates,
        score: Floats,
        planned_day: Mapping[int, float],
        edge_d: Floats,
    ) -> "_Firsts":
        planned_d = np.full(len(columns.positions.code), np.nan)
        for position, day in planned_day.items():
            planned_d[position] = max(day - columns.as_of_day, 0.0)
        hazard = cumulative_hazard(dates.causes)
        return cls(
            day_ahead=dates.day_ahead,
            by_condition=hazard[_BY_CONDITION].sum(axis=0),
            by_hours=hazard[_BY_HOURS].sum(axis=0),
            share_left=_share_left(columns, duty, condition),
            score=score,
            certain_d=np.maximum(dates.steps.min(axis=0), 0.0),
            planned_d=planned_d,
            asked_d=_due_until(columns, edge_d),
            edge_d=edge_d,
            is_changed=(columns.in_service() & (columns.fitted.type >= 0)).astype(np.float64),
        )

    def share_by_period(self, rows: Ints, load: float) -> Floats:
        """P(first change in each period), (n, W)."""
        asked = self.asked_d[rows]
        reached = -np.expm1(-_along(self.day_ahead, self.by_condition[rows], asked * load))
        by_condition = self._by_condition(rows, reached)
        by_hours = _along(self.day_ahead, self.by_hours[rows], asked * load)
        not_yet = (1.0 - by_condition) * np.exp(-by_hours - UNFORESEEN_PER_D * self.edge_d)
        changed = np.where(asked >= self.certain_d[rows, None], 1.0, 1.0 - not_yet)
        planned = self.planned_d[rows, None]
        changed = np.where(np.isnan(planned), changed, self.edge_d >= planned)
        changed = np.maximum.accumulate(changed, axis=1) * self.is_changed[rows, None]
        changed[:, 0] = 0.0  # what is due now is changed in the first period
        return np.asarray(np.diff(changed, axis=1))

    def _by_condition(self, rows: Ints, reached: Floats) -> Floats:
        """P(changed by each edge for its condition), (n, W + 1), from P(the limit is `reached`) by then."""
        rho, z = self.share_left[rows, None], self.score[rows, None]
        is_told = rho >= 1.0
        spread = np.sqrt(np.where(is_told, 1.0, 1.0 - rho**2))
        with np.errstate(divide="ignore"):
            learned = ndtr((ndtri(reached) + z * rho) / spread)
        told = np.where(reached >= ndtr(-z), 1.0, reached)
        return np.where(is_told, told, learned)


def _along(day_ahead: Floats, hazard: Floats, asked_d: Floats) -> Floats:
    """Cumulative hazards (n, D) at days (n, K), straight between the days of the grid."""
    upper = np.clip(np.searchsorted(day_ahead, asked_d.ravel()).reshape(asked_d.shape), 1, len(day_ahead) - 1)
    low = np.take_along_axis(hazard, upper - 1, axis=1)
    high = np.take_along_axis(hazard, upper, axis=1)
    share = np.clip((asked_d - day_ahead[upper - 1]) / (day_ahead[upper] - day_ahead[upper - 1]), 0.0, 1.0)
    return np.asarray(low + share * (high - low))


def _left_at_change(columns: PlantColumns, duty: Duty, condition: Condition) -> Floats:
    """Spread of ln life that will be left at the change, (P,): infinite where ΔP is not read and nothing learned."""
    count, lives = len(columns.positions.code), columns.lives
    read = np.diff(columns.dp.offsets) + np.bincount(lives.position, np.diff(columns.life_dp.offsets), count)
    run_h = np.nan_to_num(duty.run_h) + np.bincount(lives.position, np.nan_to_num(duty.life_h), count)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = run_h / read / np.exp(condition.life.log_median)
    return np.where(read > 0, LEFT_AT_CHANGE_LOG_SD * np.sqrt(np.nan_to_num(share)), np.inf)


def _share_left(columns: PlantColumns, duty: Duty, condition: Condition) -> Floats:
    """ρ of what is fitted, (P,): 1 where nothing more will be learned."""
    early, late = condition.remaining.quantile(0.1), condition.remaining.quantile(0.9)
    run_h = np.nan_to_num(duty.run_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_sd = (np.log(run_h + late) - np.log(run_h + early)) / (2.0 * ndtri(0.9))
        left = np.clip(_left_at_change(columns, duty, condition) / log_sd, 0.0, 1.0)
    return np.where(np.isfinite(left), left, 1.0)


def _needs_stop(columns: PlantColumns) -> Flags:
    return np.array([access is not Access.RUNNING for access in columns.positions.access], dtype=bool)


def _stop_starts(columns: PlantColumns) -> dict[int, Floats]:
    """Days from now on which a system's stops begin, of the systems of which two or more are known."""
    found = {
        system: np.array([stop.start_day for stop in stops_of_system(columns, system)]) - columns.as_of_day
        for system in np.unique(columns.positions.system).tolist()
    }
    return {system: starts_d for system, starts_d in found.items() if len(starts_d) >= 2}


def _due_until(columns: PlantColumns, edge_d: Floats) -> Floats:
    """Up to which due date the work is done by each edge, (P, W + 1): a known stop takes all until the next one."""
    asked = np.repeat(edge_d[None, :], len(columns.positions.code), axis=0)
    needs_stop = _needs_stop(columns)
    for system, starts_d in _stop_starts(columns).items():
        after = np.searchsorted(starts_d, edge_d, side="right")
        between = (after >= 1) & (after < len(starts_d))
        taken = np.where(between, starts_d[np.minimum(after, len(starts_d) - 1)], edge_d)
        asked[needs_stop & (columns.positions.system == system)] = taken
    return asked


def _later_stays(columns: PlantColumns, duty: Duty, condition: Condition, score: Floats) -> tuple[_Stays, Ints]:
    """Classes of later lives, and each position's, (P,)."""
    life = condition.life
    year_h = planned_ahead(columns, duty, np.array([0.0, _YEAR_D]))[:, 1] * duty.rate_mean
    with np.errstate(divide="ignore"):
        log_rate = np.log(year_h / _YEAR_D)
    left = np.minimum(_left_at_change(columns, duty, condition), life.log_sd)
    watched = left < life.log_sd
    log_mean = np.where(watched, life.log_median - score * left, life.log_median) - log_rate
    log_sd = np.where(watched, np.sqrt(life.log_sd**2 - left**2), life.log_sd)
    told_d = np.where(watched, np.inf, np.exp(np.minimum(life.log_median - score * life.log_sd - log_rate, 50.0)))
    with np.errstate(divide="ignore"):
        by_hours_d = np.fmin(told_d, columns.positions.max_hours / np.exp(log_rate))  # what is not known ends none
    by_age_d = np.fmin(np.inf, columns.positions.max_age_d)
    lost_d = np.maximum(0.5 * _between_stops_d(columns), BY_THE_WEEK_D)
    each = np.column_stack(
        [
            np.log(np.maximum(np.exp(np.minimum(log_mean, 50.0)) - lost_d, 1.0)),
            np.log(np.maximum(log_sd, _LEAST_SD)),
            *(np.log(np.maximum(days - lost_d, 1.0)) for days in (by_hours_d, by_age_d)),
        ]
    )
    sorted_in, later_class = np.unique(np.round(each / _CLASS_STEP), axis=0, return_inverse=True)
    of_class = np.exp(sorted_in * _CLASS_STEP)
    return _Stays(sorted_in[:, 0] * _CLASS_STEP, of_class[:, 1], of_class[:, 2], of_class[:, 3]), later_class.ravel()


def _between_stops_d(columns: PlantColumns) -> Floats:
    """Days from one known stop to the next, (P,); 0 where the position needs none or fewer than two are known."""
    apart = np.zeros(len(columns.systems.code))
    for system, starts_d in _stop_starts(columns).items():
        apart[system] = (starts_d[-1] - starts_d[0]) / (len(starts_d) - 1)
    return np.where(_needs_stop(columns), apart[columns.positions.system], 0.0)


def _ages(horizon_d: float) -> Floats:
    """Ages at which stays are tabulated: a tenth of a week apart at the start, then a week's third."""
    fine = np.arange(0.0, min(horizon_d, 28.0), 0.7)
    return (
        np.concatenate([fine, np.arange(28.0, horizon_d + 7.0, 7.0 / 3.0)])
        if horizon_d > 28.0
        else np.append(fine, horizon_d)
    )
