"""The lives of each element type and of each of its positions in numbers: how long, why they ended, which are short.

What is short is told by the pooled model of all lives by their hours (`statistics/life_model`): a position's own
effect is drawn towards none as far as its few lives leave it open, so that among many positions those that only had
bad luck do not stand out. `chance` is the probability that its lives are not shorter at all.

An early change throws away the share of the life that was still to be expected, by the same model.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from scheduler.planning.comparable_readings import instruments
from scheduler.planning.duty import Duty
from scheduler.planning.learning import last_log_share
from scheduler.planning.lives import ends_of, first_guess, ordinary_lives, ordinary_so_far
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.planning.risk import element_cost
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd, Lives, pool_lives
from scheduler.statistics.remaining_hours import from_lognormal
from scheduler.statistics.survival_curve import SurvivalCurve, survival_curve
from scheduler.vocabulary import RemovalReason

_BAND_Z = 1.2815515655446004  # the normal's 90 % point


@dataclass(frozen=True, slots=True)
class ShortLives:
    """A position's lives against its type's: their ratio with its 80 % band, and the chance that they are as long."""

    ratio: float
    low_ratio: float
    high_ratio: float
    chance: float


@dataclass(frozen=True, slots=True)
class EarlyChanges:
    """Changes before the limit: how many, the mean share of the life that was thrown away with them, and what that
    was worth by currency, elements and labour together; changes without both prices are in none."""

    count: int
    thrown_share: float
    cost: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class LifeRecord:
    """The lives of a type in all its positions (position −1), or in one. running: those of what is fitted now, which
    count as cut short. short None: of a type."""

    type: int
    position: int
    lives: int
    running: int
    at_limit: int
    reasons: Mapping[RemovalReason, int]
    curve: SurvivalCurve
    short: ShortLives | None
    early: EarlyChanges


@dataclass(frozen=True, slots=True)
class _Told:
    """Every ordinary life (n,), those that still run after those that ended."""

    type: Ints
    position: Ints
    day: Floats
    life_h: Floats
    end: Ints
    reason: tuple[RemovalReason | None, ...]

    @property
    def ended(self) -> Flags:
        return np.asarray(self.end == LifeEnd.AT_LIMIT)


def life_records(columns: PlantColumns, duty: Duty, chosen: Flags) -> list[LifeRecord]:
    """Of the positions (P,) that are `chosen`, type by type: first the whole, then each position in order of codes.

    All lives in `columns` are pooled, whether chosen or not.
    """
    told = _told(columns, duty)
    short, thrown_share = _pooled(columns, told)
    own = chosen[told.position]
    found = []
    for kind in _in_order(columns.types.part_number, told.type[own]):
        of_type = own & (told.type == kind)
        found.append(_record(columns, told, of_type, kind, -1, None, thrown_share))
        for position in _in_order(columns.positions.code, told.position[of_type]):
            rows = of_type & (told.position == position)
            found.append(_record(columns, told, rows, kind, position, short.get((kind, position)), thrown_share))
    return found


def _in_order(codes: tuple[str, ...], rows: Ints) -> list[int]:
    return sorted(set(rows.tolist()), key=lambda row: codes[row])


def _told(columns: PlantColumns, duty: Duty) -> _Told:
    lives, fitted = columns.lives, columns.fitted
    ends = ends_of(columns, duty, last_log_share(columns, duty, instruments(columns)))
    over = np.flatnonzero(ordinary_lives(columns, duty))
    running = np.flatnonzero(ordinary_so_far(columns, duty) & (fitted.type >= 0))
    return _Told(
        type=np.concatenate([lives.type[over], fitted.type[running]]),
        position=np.concatenate([lives.position[over], running]),
        day=np.concatenate([0.5 * (lives.fitted_day + lives.removed_day)[over], fitted.fitted_day[running]]),
        life_h=np.concatenate([duty.life_h[over], np.maximum(duty.run_h[running], 1.0)]),
        end=np.concatenate([ends[over], np.full(len(running), LifeEnd.RUNNING)]).astype(np.intp),
        reason=(*(lives.reason[row] for row in over.tolist()), *(None,) * len(running)),
    )


def _pooled(columns: PlantColumns, told: _Told) -> tuple[dict[tuple[int, int], ShortLives], Floats]:
    """Of each type and position its lives against the type's; and of each life (n,) the share that was to come."""
    count = len(told.life_h)
    if not count:
        return {}, np.zeros(0)
    system = columns.positions.system[told.position]
    where = Where(told.type, told.position, system, told.day)
    # what still runs has lasted so long, which is all that its hours say
    end = np.where(told.end == LifeEnd.RUNNING, LifeEnd.EARLY, told.end).astype(np.int64)
    nothing = np.full(count, np.nan)
    guess = first_guess(columns)
    pooled = pool_lives(
        Lives(told.life_h, end, where, nothing, nothing),
        where,
        FirstGuess(guess.log_h[told.position], guess.log_sd[told.position]),
        np.arange(count),  # no life is expected by itself
    )
    mean, var = pooled.effects.position_effects()
    _, first = np.unique(pooled.lives_where.position, return_index=True)
    short = {
        (int(told.type[row]), int(told.position[row])): _short(float(each), float(np.sqrt(spread)))
        for row, each, spread in zip(first.tolist(), mean, var, strict=True)
    }
    to_come_h = from_lognormal(pooled.next_life.log_median, pooled.next_life.log_sd, told.life_h).mean_h()
    return short, np.asarray(to_come_h / (told.life_h + to_come_h))


def _short(mean: float, sd: float) -> ShortLives:
    ratio, low, high = (float(np.exp(mean + z * sd)) for z in (0.0, -_BAND_Z, _BAND_Z))
    return ShortLives(ratio, low, high, float(ndtr(mean / sd)) if sd > 0.0 else 1.0)


def _record(
    columns: PlantColumns,
    told: _Told,
    rows: Flags,
    kind: int,
    position: int,
    short: ShortLives | None,
    thrown_share: Floats,
) -> LifeRecord:
    own = np.flatnonzero(rows)
    running = told.end[own] == LifeEnd.RUNNING
    reasons = Counter(reason for row in own.tolist() if (reason := told.reason[row]) is not None)
    return LifeRecord(
        *(kind, position, int(np.sum(~running)), int(np.sum(running)), int(told.ended[own].sum())),
        reasons={reason: reasons[reason] for reason in RemovalReason if reason in reasons},
        curve=survival_curve(told.life_h[own], told.ended[own]),
        short=short,
        early=_early(columns, told, own[told.end[own] == LifeEnd.EARLY], thrown_share),
    )


def _early(columns: PlantColumns, told: _Told, rows: Ints, thrown_share: Floats) -> EarlyChanges:
    system = columns.positions.system[told.position[rows]]
    each = element_cost(columns)[told.position[rows]] + columns.systems.labour_cost[system]
    currency = [columns.plants.currency[plant] for plant in columns.systems.plant[system]]
    cost: dict[str, float] = {}
    for code, worth in zip(currency, each * thrown_share[rows], strict=True):
        if code and not np.isnan(worth):
            cost[code] = cost.get(code, 0.0) + float(worth)
    mean = float(np.mean(thrown_share[rows])) if len(rows) else float("nan")
    return EarlyChanges(len(rows), mean, dict(sorted(cost.items())))
