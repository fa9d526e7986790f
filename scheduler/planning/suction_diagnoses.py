"""What the vacuum at a pump inlet says beside its newest value: what a cold start would make of it, and a vacuum that
went up although the strainer was cleaned.

The friction of strainer and line is laminar and follows the viscosity, the head of the oil does not. Where the head
is told it is believed within a decimetre, since the level moves; where not, readings at several temperatures have to
tell it. A reading of nothing says only that the gauge shows none, and is left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import ndtr

from scheduler.engineering.pressure_drop import ASSUMED_TEMPERATURE_SD_K, SHIFT_IN_STEPS, TEMPERATURE_SD_K
from scheduler.engineering.reading_gate import Gate
from scheduler.engineering.suction import PASCAL_PER_BAR, STANDARD_GRAVITY_M_S2, vacuum_limit_bar
from scheduler.engineering.viscosity import d_ln_viscosity_per_K, temperature_at, viscosity_at
from scheduler.planning.condition import Condition
from scheduler.planning.diagnoses import NEAR_VACUUM_SHARE, Diagnosis
from scheduler.planning.plant_columns import DpReadings, Flags, Floats, Ints, PlantColumns
from scheduler.statistics.friction_line import FrictionLine, friction_line
from scheduler.vocabulary import Severity, TaskKind

NEWEST, COUNTS_FOR_D, FEWEST = 8, 90.0, 4
"""Readings that the line is drawn through: the newest of what is fitted, of three months at most (ours)."""

COLD_PROBABILITY = 0.8
"""From here on a cold start is said to pass the limit (ours, by tests/measure/system_faults.py)."""

CLEANED_LATELY_D, SPOKEN_OF_D = 60.0, 120.0
"""A strainer is as good as clean for two months; a vacuum that rose in them is spoken of for two more (ours)."""

RISEN_SHARE, RISEN_Z, RISEN_STEPS = 0.3, 3.0, 1.5
"""The warm friction rose by a third or so, beyond three deviations and more than a mark of the gauge (ours, as
above)."""

_BAR_PER_M = 870.0 * STANDARD_GRAVITY_M_S2 / PASCAL_PER_BAR
_VACUUM_SD = 0.05
_HEAD_TOLD_SD_m, _HEAD_UNTOLD_SD_m = 0.1, 0.7
_ROUGH_SHARE = 0.1
"""Of gauge and scatter; of the head; of the warm friction that does not follow the viscosity (ours)."""

_ROUNDING_STAYS = 0.7 / np.sqrt(12.0)
"""In gauge steps: rounding does not average out of readings that all fall on one mark (ours)."""

_SHOWN_SHARE = 0.4
_TELLS_HEAD_RATIO = 1.8
"""Without a told head a reading with the oil at least so much thicker has to be there (ours)."""

_LEVEL_OF, _LIVES_BEFORE = 4, 4
_NEAR_WARM_RATIO = 2.0
_LEVEL_MOVES = 0.06
"""From one cleaning to the next the clean vacuum differs by so much of its friction (ours)."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """Vacuum readings (N,) of places (P,) that count, by place and time; static: the head, NaN where not told."""

    row: Ints
    owner: Ints
    day: Floats
    vacuum_bar: Floats
    viscosity_ratio: Floats
    sd_bar: Floats
    is_told: Flags  # the oil temperature
    static_bar: Floats  # (P,)
    step_bar: Floats  # (P,)


def suction_diagnoses(columns: PlantColumns, condition: Condition) -> list[Diagnosis]:
    """Of every position in service at which a vacuum is read."""
    vacuum = columns.dp.vacuum_bar
    if not np.any(vacuum > 0.0):
        return []
    owner = np.repeat(np.arange(len(columns.positions.code)), np.diff(columns.dp.offsets))
    rows = np.flatnonzero((vacuum >= 0.0) & (condition.gate != Gate.CHANGE_DAY) & columns.in_service()[owner])
    seen = _seen(columns, condition, columns.dp, rows, owner[rows])
    return [*_too_high_when_cold(columns, condition, seen), *_up_though_cleaned(columns, condition, seen)]


def _seen(columns: PlantColumns, condition: Condition, dp: DpReadings, rows: Ints, owner: Ints) -> _Seen:
    rows, owner = rows[dp.flow_lpm[rows] != 0.0], owner[dp.flow_lpm[rows] != 0.0]
    warm, head_m = condition.warm, columns.positions.inlet_head_m
    head = warm.density_kg_m3 * STANDARD_GRAVITY_M_S2 * head_m / PASCAL_PER_BAR
    temperature, vacuum = dp.oil_temperature_degC[rows], dp.vacuum_bar[rows]
    is_told = ~np.isnan(temperature)
    used = np.where(is_told, temperature, warm.oil_temperature_degC[owner])
    a, b = warm.walther_a[owner], warm.walther_b[owner]
    sd_K = np.where(is_told, TEMPERATURE_SD_K, ASSUMED_TEMPERATURE_SD_K)
    friction = np.maximum(vacuum + np.nan_to_num(head)[owner], vacuum)
    step = condition.log_shift_bar / SHIFT_IN_STEPS
    by_temperature = sd_K * d_ln_viscosity_per_K(used, a, b) * friction
    sd = np.sqrt(step[owner] ** 2 / 12.0 + (_VACUUM_SD * vacuum) ** 2 + by_temperature**2)
    ratio = viscosity_at(used, a, b) / warm.viscosity_mm2_s[owner]
    return _Seen(rows, owner, dp.day[rows], vacuum, ratio, sd, is_told, head, step)


def _too_high_when_cold(columns: PlantColumns, condition: Condition, seen: _Seen) -> Iterator[Diagnosis]:
    warm, positions = condition.warm, columns.positions
    coldest = columns.systems.coldest_start_degC[positions.system]
    thicker = viscosity_at(coldest, warm.walther_a, warm.walther_b) / warm.viscosity_mm2_s
    line, last_day, tells = _line(columns, seen)
    limit = vacuum_limit_bar(positions.vacuum_limit_bar)
    warm_vacuum, _ = line.vacuum_bar(np.ones(len(limit)))
    cold_vacuum, sd = line.vacuum_bar(thicker)
    sd = np.hypot(sd, line.slope_bar * thicker * warm.viscosity_slope_sd * np.log(np.maximum(thicker, 1.0)))
    with np.errstate(invalid="ignore"):
        passes = ndtr((cold_vacuum - limit) / sd)
        told = (thicker > 1.0) & tells & (line.slope_bar > 0.0)
        told &= (passes >= COLD_PROBABILITY) & (warm_vacuum < NEAR_VACUUM_SHARE * limit)
    for position in np.flatnonzero(told).tolist():
        at_ratio = float((limit[position] - line.base_bar[position]) / line.slope_bar[position])
        viscosity = at_ratio * float(warm.viscosity_mm2_s[position])
        from_degC = temperature_at(viscosity, warm.walther_a[position], warm.walther_b[position])
        yield Diagnosis(
            int(positions.system[position]),
            position,
            "vacuum-too-high-when-cold",
            Severity.SOON,
            {
                "coldest_start_degC": float(coldest[position]),
                "cold_vacuum_bar": round(float(cold_vacuum[position]), 2),
                "warm_vacuum_bar": round(float(warm_vacuum[position]), 3),
                "limit_bar": float(limit[position]),
                "limit_at_degC": round(float(from_degC), 0),
                "head_told": bool(~np.isnan(seen.static_bar[position])),
                "readings": int(line.readings[position]),
                "probability": round(float(passes[position]), 3),
                "at_day": float(last_day[position]),
            },
            since_day=float(last_day[position]),
        )


def _line(columns: PlantColumns, seen: _Seen) -> tuple[FrictionLine, Floats, Flags]:
    """The line of each position, the day of its newest reading, and whether its readings can tell a cold start."""
    places = len(columns.positions.code)
    count = np.bincount(seen.owner, minlength=places)
    place_in_own = np.cumsum(count)[seen.owner] - 1 - np.arange(len(seen.owner))
    newest = (place_in_own < NEWEST) & (seen.day >= columns.as_of_day - COUNTS_FOR_D)
    shows = newest & (seen.vacuum_bar > 0.5 * seen.step_bar[seen.owner])
    shown = np.bincount(seen.owner[shows], minlength=places) / np.maximum(
        np.bincount(seen.owner[newest], minlength=places), 1
    )
    last_day = np.full(places, -np.inf)
    np.maximum.at(last_day, seen.owner[newest], seen.day[newest])
    owner, ratio, vacuum = seen.owner[shows], seen.viscosity_ratio[shows], seen.vacuum_bar[shows]
    told = ~np.isnan(seen.static_bar)
    head = np.nan_to_num(seen.static_bar)
    each_friction = np.maximum(vacuum + head[owner], 0.0) / ratio
    friction = np.bincount(owner, each_friction, places) / np.maximum(np.bincount(owner, minlength=places), 1)
    rough = _ROUGH_SHARE * friction
    head_sd = _BAR_PER_M * np.where(told, _HEAD_TOLD_SD_m, _HEAD_UNTOLD_SD_m)
    line = friction_line(
        *(owner, ratio, vacuum, seen.sd_bar[shows]),
        base_bar=np.where(told, rough - head, 0.0),
        base_sd_bar=np.sqrt(head_sd**2 + rough**2 + (_ROUNDING_STAYS * seen.step_bar) ** 2),
    )
    thickest = np.zeros(places)
    np.maximum.at(thickest, owner, np.where(seen.is_told[shows], ratio, 0.0))
    tells = (line.readings >= FEWEST) & (shown >= _SHOWN_SHARE) & (told | (thickest >= _TELLS_HEAD_RATIO))
    return line, last_day, tells


def _up_though_cleaned(columns: PlantColumns, condition: Condition, seen: _Seen) -> Iterator[Diagnosis]:
    age_d = columns.as_of_day - columns.fitted.fitted_day
    mine = _warm_levels(seen)
    lately = mine.day <= columns.fitted.fitted_day[mine.owner] + CLEANED_LATELY_D
    count = np.bincount(mine.owner[lately], minlength=len(age_d))
    asked = (count >= _LEVEL_OF) & (age_d <= SPOKEN_OF_D)
    before = _levels_before(columns, condition, asked) if asked.any() else {}
    for position in np.flatnonzero(asked).tolist():
        now = mine.of(mine.owner == position)
        early = now.of(lately[mine.owner == position])
        usual_levels = list(before.get(position, []))
        if len(early.day) >= 2 * _LEVEL_OF:
            usual_levels.append(early.middle(slice(_LEVEL_OF)))
        if usual_levels:
            newest = slice(-_LEVEL_OF, None)
            yield from _risen(columns, condition, seen, position, usual_levels, early.middle(newest), now, newest)


def _risen(
    columns: PlantColumns,
    condition: Condition,
    seen: _Seen,
    position: int,
    before: list[tuple[float, float]],
    lately: tuple[float, float],
    all_since: "_Levels",
    newest: slice,
) -> Iterator[Diagnosis]:
    step, head = float(seen.step_bar[position]), float(np.nan_to_num(seen.static_bar[position]))
    usual, usual_sd = _usual(before, step, head)
    now, now_sd = all_since.middle(newest)
    error = np.hypot(usual_sd, np.hypot(max(lately[1], now_sd), _ROUNDING_STAYS * step))
    rise, friction = min(lately[0], now) - usual, max(usual + head, step)
    if rise > RISEN_Z * error and rise > RISEN_SHARE * friction and rise > RISEN_STEPS * step:
        yield Diagnosis(
            int(columns.positions.system[position]),
            position,
            "vacuum-up-strainer-clean",
            Severity.SOON,
            {
                "before_bar": round(usual, 3),
                "after_bar": round(now, 3),
                "sd_bar": round(float(error), 3),
                "cleaned_day": float(columns.fitted.fitted_day[position]),
                "warm_degC": round(float(condition.warm.oil_temperature_degC[position]), 0),
                "at_day": float(all_since.day[-1]),
            },
            TaskKind.INSPECT,
            since_day=float(all_since.day[-1]),
        )


@dataclass(frozen=True, slots=True)
class _Levels:
    """Vacuum restated to the warm viscosity with its deviation, by places and time."""

    row: Ints
    owner: Ints
    day: Floats
    level_bar: Floats
    sd_bar: Floats

    def of(self, rows: Flags) -> "_Levels":
        return _Levels(self.row[rows], self.owner[rows], self.day[rows], self.level_bar[rows], self.sd_bar[rows])

    def middle(self, part: slice) -> tuple[float, float]:
        """Median and its standard deviation: 1.25 times a mean's (normal errors)."""
        level, sd = self.level_bar[part], self.sd_bar[part]
        return float(np.median(level)), 1.25 * float(np.sqrt(np.mean(sd**2) / len(level)))


def _warm_levels(seen: _Seen) -> _Levels:
    """Of readings with oil not far from warm."""
    near = np.flatnonzero(seen.is_told & (seen.viscosity_ratio <= _NEAR_WARM_RATIO) & (seen.viscosity_ratio > 0.5))
    owner, ratio = seen.owner[near], seen.viscosity_ratio[near]
    head = seen.static_bar[owner]
    known = np.nan_to_num(head)
    untold_bar = np.where(np.isnan(head), 0.5 * _HEAD_UNTOLD_SD_m * _BAR_PER_M, 0.0)
    level = (seen.vacuum_bar[near] + known) / ratio - known
    return _Levels(
        seen.row[near],
        owner,
        seen.day[near],
        level,
        np.hypot(seen.sd_bar[near] / ratio, untold_bar * (1.0 - 1.0 / ratio)),
    )


def _levels_before(columns: PlantColumns, condition: Condition, asked: Flags) -> dict[int, list[tuple[float, float]]]:
    """By position, the clean level of each of the newest lives before."""
    lives, dp = columns.lives, columns.life_dp
    life = np.repeat(np.arange(len(lives.position)), np.diff(dp.offsets))
    since_d = dp.day - lives.fitted_day[life]
    of_it = (since_d > 0.0) & (since_d <= CLEANED_LATELY_D) & (dp.day < lives.removed_day[life])
    rows = np.flatnonzero((dp.vacuum_bar >= 0.0) & of_it & asked[lives.position[life]])
    seen = _seen(columns, condition, dp, rows, lives.position[life[rows]])
    levels = _warm_levels(seen)
    of_life = life[levels.row]
    starts = np.flatnonzero(np.diff(of_life, prepend=-1))
    spans = [(a, b) for a, b in pairwise([*starts.tolist(), len(of_life)]) if b - a >= _LEVEL_OF]
    found: dict[int, list[tuple[float, float]]] = {}
    for first, _ in sorted(spans, key=lambda span: float(lives.fitted_day[of_life[span[0]]])):
        found.setdefault(int(levels.owner[first]), []).append(levels.middle(slice(first, first + _LEVEL_OF)))
    return {position: each[-_LIVES_BEFORE:] for position, each in found.items()}


def _usual(before: list[tuple[float, float]], step_bar: float, static_bar: float) -> tuple[float, float]:
    level = np.array([each for each, _ in before])
    usual = float(np.median(level))
    own = float(np.mean([sd for _, sd in before]))
    moves = max(_LEVEL_MOVES * (usual + static_bar), float(np.std(level)) if len(level) > 1 else 0.0)
    return usual, float(np.hypot(np.hypot(own, moves) / np.sqrt(len(level)), _ROUNDING_STAYS * step_bar))
