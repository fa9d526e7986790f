"""Of each system the counts of one size over time, and of each element the counts behind it over those before it."""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.planning.cleanliness import ONE_VISIT_D, SETTLED_D, sample_bounds
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.cleanliness_evidence import CODE_NUMBER, RATIO_LOG_SD
from scheduler.vocabulary import EventKind, SamplePoint

LOOKS_BACK_D = 3.0 * 365.25
"""What an oil was like before says little of what is usual now (ours)."""

MOST_SAMPLES = 40
_OTHER_MACHINE = frozenset({EventKind.REPAIR, EventKind.COMMISSIONED})
"""What may change how much dirt comes in. An oil change does not: the counts are back at R/E within hours."""

_NEWEST_PAIRS = 3
_OPEN_BY = 0.5 * CODE_NUMBER


@dataclass(frozen=True, slots=True)
class CountHistory:
    """Of S systems the newest K samples of the reservoir, oldest first and behind them NaN; `row` −1.

    size: which of the code's three was counted, the smallest that most samples have. A system without reservoir
    samples takes those before its elements. count: samples of each system.
    """

    day: Floats
    low_per_mL: Floats
    high_per_mL: Floats
    row: Ints
    size: Ints
    count: Ints

    def last_day(self) -> Floats:
        """The day of each system's newest sample, NaN without one."""
        newest = np.fmax.reduce(self.day, axis=1, initial=-np.inf)
        return np.where(np.isfinite(newest), newest, np.nan)

    def middle_per_mL(self) -> Floats:
        """The geometric middle of each sample's bounds, half a code number from the only one."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.exp(_middle(np.log(self.low_per_mL), np.log(self.high_per_mL)))


def count_history(columns: PlantColumns) -> CountHistory:
    """The newest samples of every system, of one size each."""
    low, high = sample_bounds(columns.oil_samples)
    rows = _rows_of_systems(columns, np.asarray(~np.isnan(low).all(axis=1)))
    systems = len(rows)
    longest = max((len(each) for each in rows), default=1) or 1
    row = np.full((systems, longest), -1, dtype=np.intp)
    size = np.zeros(systems, dtype=np.intp)
    for system, mine in enumerate(rows):
        counted = ~np.isnan(low[mine])
        size[system] = int(np.argmax(counted.sum(axis=0) >= 0.8 * max(len(mine), 1))) if len(mine) else 0
        kept = [each for each, known in zip(mine, counted[:, size[system]], strict=True) if known]
        row[system, : len(kept)] = kept
    told = row >= 0

    def of(values: Floats) -> Floats:
        return np.where(told, values, np.nan)

    if not told.any():
        nothing = np.full(told.shape, np.nan)
        return CountHistory(nothing, nothing, nothing, row, size, told.sum(axis=1))
    sizes = size[:, None]
    return CountHistory(
        *(of(columns.oil_samples.day[row]), of(low[row, sizes]), of(high[row, sizes])),
        *(row, size, told.sum(axis=1)),
    )


def counts_of_size(
    columns: PlantColumns, history: CountHistory, system: int, size: int
) -> tuple[Floats, Floats, Floats]:
    """Day and bounds of the samples of one system's history that have a size counted, (K,) each, oldest first."""
    low, high = sample_bounds(columns.oil_samples)
    rows = history.row[system][history.row[system] >= 0]
    rows = rows[~np.isnan(low[rows, size])]
    return columns.oil_samples.day[rows], low[rows, size], high[rows, size]


def _rows_of_systems(columns: PlantColumns, counted: Flags) -> list[list[int]]:
    samples, systems = columns.oil_samples, len(columns.systems.code)
    since_day = np.full(systems, columns.as_of_day - LOOKS_BACK_D)
    for row, kind in enumerate(columns.events.kind):
        if kind in _OTHER_MACHINE:
            system = columns.events.system[row]
            since_day[system] = max(since_day[system], columns.events.day[row] + SETTLED_D)
    by_point: dict[SamplePoint, list[list[int]]] = {point: [[] for _ in range(systems)] for point in SamplePoint}
    for row in np.argsort(samples.day, kind="stable").tolist():
        system = int(samples.system[row])
        if counted[row] and samples.day[row] >= since_day[system]:
            by_point[samples.point[row]][system].append(row)
    return [
        (reservoir or upstream)[-MOST_SAMPLES:]
        for reservoir, upstream in zip(by_point[SamplePoint.RESERVOIR], by_point[SamplePoint.UPSTREAM], strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Passed:
    """ln of the count behind an element over that before it, of the newest pairs since a day, and how well known."""

    log_passed: float
    log_sd: float
    pairs: int
    size: int
    last_day: float


def passed_by_element(columns: PlantColumns, low_per_mL: Floats, high_per_mL: Floats) -> dict[int, list[Passed]]:
    """By position, each pair of one visit since what sits there was fitted, oldest first.

    Before an element is a sample upstream of it, else the reservoir's. The size is the smallest counted on both sides
    that the element is rated for, else the largest.
    """
    samples = columns.oil_samples
    found: dict[int, list[Passed]] = {}
    before = [row for row, point in enumerate(samples.point) if point is not SamplePoint.DOWNSTREAM]
    by_system: dict[int, list[int]] = {}
    for row in before:
        by_system.setdefault(int(samples.system[row]), []).append(row)
    behind = [row for row, point in enumerate(samples.point) if point is SamplePoint.DOWNSTREAM]
    for row in sorted(behind, key=lambda each: float(samples.day[each])):
        position, day = int(samples.position[row]), float(samples.day[row])
        if position < 0 or not day >= columns.fitted.fitted_day[position] + SETTLED_D:
            continue
        others = [
            each
            for each in by_system.get(int(samples.system[row]), [])
            if abs(float(samples.day[each]) - day) <= ONE_VISIT_D
            and (samples.position[each] == position or samples.point[each] is SamplePoint.RESERVOIR)
        ]
        if not others:
            continue
        # the sample beside the element stands before the reservoir's
        first = min(
            others, key=lambda each: (samples.position[each] != position, abs(float(samples.day[each]) - day))
        )
        both = np.flatnonzero(~np.isnan(low_per_mL[row]) & ~np.isnan(low_per_mL[first])).tolist()
        if both:
            rating_um = float(columns.types.rating_um[columns.fitted.type[position]])
            size = next((each for each in both if SIZES_um_c[each] >= rating_um), both[-1])
            found.setdefault(position, []).append(
                _passed(
                    (low_per_mL[first, size], high_per_mL[first, size]),
                    (low_per_mL[row, size], high_per_mL[row, size]),
                    size,
                    day,
                )
            )
    return found


def newest_passed(pairs: list[Passed], since_day: float) -> Passed | None:
    """The newest pairs since a day together; None without one."""
    used = [each for each in pairs if each.last_day >= since_day][-_NEWEST_PAIRS:]
    used = [each for each in used if each.size == used[-1].size]
    if not used:
        return None
    weight = np.array([1.0 / each.log_sd**2 for each in used])
    mean = float(np.dot(weight, [each.log_passed for each in used]) / weight.sum())
    return Passed(mean, float(weight.sum() ** -0.5), len(used), used[-1].size, used[-1].last_day)


def _passed(before: tuple[float, float], behind: tuple[float, float], size: int, day: float) -> Passed:
    with np.errstate(divide="ignore"):
        log_before, log_behind = np.log(np.array(before)), np.log(np.array(behind))
    hidden = sum(_width(bound) ** 2 / 12.0 for bound in (log_before, log_behind))
    value = float(_middle(*log_behind) - _middle(*log_before))
    return Passed(value, float(np.sqrt(RATIO_LOG_SD**2 + hidden)), 1, size, day)


def _width(bound: Floats) -> float:
    """An open end is worth two code numbers more."""
    return float(bound[1] - bound[0]) if np.isfinite(bound).all() else 2.0 * CODE_NUMBER


def _middle(log_low: Floats, log_high: Floats) -> Floats:
    open_end = np.where(np.isinf(log_low), log_high - _OPEN_BY, log_low + _OPEN_BY)
    both = np.isfinite(log_low) & np.isfinite(log_high)
    middle = np.where(both, 0.5 * (np.where(both, log_low, 0.0) + np.where(both, log_high, 0.0)), open_end)
    return np.where(np.isnan(log_low), np.nan, middle)
