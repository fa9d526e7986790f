"""How good are run hours, dates and their bounds on meters whose truth is known?

2,000 simulated machines of our own: one to three shifts of five or six days, use that wanders and varies
from day to day, holidays and repairs as standstills, 4 to 40 readings at odd times over 300 days, a third of
them without a time of day. 20 % of the meters are replaced (half of that declared, half not), 20 % carry one
typing error (any reading, the newest too), many roll over. Each is asked: how many hours in all up to the
newest reading, and on what day will so many more be reached. Two simple ways answer the same questions.

Run: python tests/measure/run_hours_accuracy.py [meters] [seed]
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.meter_path import MeterMark
from scheduler.statistics.planned_hours import PlannedHours, planned_hours
from scheduler.statistics.reach_date import first_day_reaching, reach_probability
from scheduler.statistics.run_hours import cumulative_hours
from scheduler.statistics.use_rate import UseRate, hours_at, use_rate

FloatArray = npt.NDArray[np.float64]

PAST_D, TOTAL_D = 300, 1500


@dataclass(frozen=True, slots=True)
class SimulatedMeter:
    """A machine's true hours at each full hour, and what was noted of them."""

    clock_day: FloatArray
    true_h: FloatArray
    hours_per_week: float
    standstills: FloatArray
    day: FloatArray
    shown_h: FloatArray
    mark: npt.NDArray[np.int64]
    is_date: npt.NDArray[np.bool_]
    digits: int | None
    replaced: bool
    mistyped: bool
    needed_h: float


@dataclass(frozen=True, slots=True)
class Answer:
    """One way's answer for one meter; the 80 % interval only where the way has one."""

    total_h: float
    date: float
    early: float = np.nan
    late: float = np.nan


def simulate(rng: np.random.Generator) -> SimulatedMeter:
    shift_h = float(rng.choice([8.0, 16.0, 24.0]))
    days_a_week = int(rng.choice([5, 5, 6]))
    day = np.arange(TOTAL_D)
    standing = np.zeros(TOTAL_D, dtype=np.bool_)
    standstills = []
    for _ in range(rng.integers(0, 6)):
        start, length = int(rng.integers(5, TOTAL_D)), int(rng.integers(3, 22))
        standing[start : start + length] = True
        standstills.append([float(start), float(start + length)])
    wander = np.zeros(TOTAL_D)
    for at in range(1, TOTAL_D):  # a level that forgets itself over about 60 days
        wander[at] = wander[at - 1] * (1 - 1 / 60) + 0.10 * np.sqrt(2 / 60) * rng.standard_normal()
    use = np.clip(rng.uniform(0.55, 0.95) + wander + 0.15 * rng.standard_normal(TOTAL_D), 0.02, 1.0)
    use[(day % 7 >= days_a_week) | standing] = 0.0
    hour = np.arange(24)
    in_shift = (hour - 6) % 24 < shift_h
    clock_day = np.arange(TOTAL_D * 24 + 1) / 24.0
    true_h = np.concatenate([[0.0], np.cumsum((use[:, None] * in_shift).ravel())])
    return _noted(rng, clock_day, true_h, shift_h * days_a_week, np.array(standstills).reshape(-1, 2))


def _noted(
    rng: np.random.Generator,
    clock_day: FloatArray,
    true_h: FloatArray,
    hours_per_week: float,
    standstills: FloatArray,
) -> SimulatedMeter:
    count = int(rng.integers(4, 41))
    day = np.sort(rng.choice(np.arange(PAST_D), count, replace=False)) + rng.uniform(6, 18, count) / 24.0
    digits = int(rng.choice([4, 5, 6]))
    level_h = np.interp(day, clock_day, true_h) + rng.uniform(0.0, 12_000.0)
    mark = np.zeros(count, dtype=np.int64)
    is_date = rng.random(count) < 1 / 3
    replaced = bool(rng.random() < 0.2)
    if replaced:
        at = int(rng.integers(1, count))
        change_day = rng.uniform(day[at - 1], day[at])
        old_h = level_h[at - 1] + np.interp(change_day, clock_day, true_h) - np.interp(day[at - 1], clock_day, true_h)
        new_h = rng.uniform(0.0, 10.0)
        level_h[at:] += new_h - old_h
        if rng.random() < 0.5:
            day = np.insert(day, at, [change_day, change_day])
            level_h = np.insert(level_h, at, [old_h, new_h])
            mark = np.insert(mark, at, [MeterMark.LAST, MeterMark.FIRST])
            is_date = np.insert(is_date, at, [False, False])
    shown_h = np.round(level_h % 10.0**digits, int(rng.choice([0, 1])))
    shown_h[shown_h >= 10.0**digits] = 0.0
    mistyped = bool(rng.random() < 0.2)
    if mistyped:
        at = int(rng.integers(0, len(shown_h)))
        shown_h[at] = _mistyped(rng, shown_h[at])
    return SimulatedMeter(
        clock_day=clock_day,
        true_h=true_h,
        hours_per_week=hours_per_week,
        standstills=standstills,
        day=np.where(is_date, np.floor(day) + 0.5, day),
        shown_h=shown_h,
        mark=mark,
        is_date=is_date,
        digits=digits if rng.random() < 0.5 else None,
        replaced=replaced,
        mistyped=mistyped,
        needed_h=float(rng.uniform(100.0, 1200.0)),
    )


def _mistyped(rng: np.random.Generator, value_h: float) -> float:
    """A decimal slip either way, a digit left out, or two neighbouring digits swapped."""
    way = int(rng.integers(4))
    figures = f"{value_h:.0f}"
    if way == 0 or len(figures) < 2:
        return value_h * 10.0
    if way == 1:
        return value_h / 10.0
    at = int(rng.integers(len(figures) - 1))
    if way == 2:
        return float(figures[:at] + figures[at + 1 :])
    return float(figures[:at] + figures[at + 1] + figures[at] + figures[at + 2 :])


def by_elementdue(meter: SimulatedMeter, *, hours_told: bool = True) -> Answer:
    now = float(meter.day.max())
    told_h = meter.hours_per_week if hours_told else None
    standstills = meter.standstills if hours_told else np.zeros((0, 2))
    planned = planned_hours(0.0, float(TOTAL_D), told_h, standstills)
    hours = cumulative_hours(
        meter.day, meter.shown_h, meter.mark, digits=meter.digits, is_date=meter.is_date, planned=planned
    )
    rate = use_rate(hours, planned, now)
    first_h, now_h = hours_at(hours, planned, rate, [meter.day.min(), now])
    early, middle, late = _dates(meter.needed_h, planned, now, rate)
    return Answer(float(now_h - first_h), middle, early, late)


def _dates(needed_h: float, planned: PlannedHours, now: float, rate: UseRate) -> tuple[float, float, float]:
    grid = now + np.concatenate([np.arange(0.0, 120.0, 1.0), np.arange(120.0, 3000.0, 5.0)])
    ahead_h = (planned.at(grid) - planned.at(now))[None, :]
    cdf = reach_probability(
        np.array([needed_h]),
        np.ones((1, 1)),
        ahead_h,
        rate_mean=np.array([rate.per_planned_hour]),
        rate_variance=np.array([rate.variance]),
        variance_per_planned_hour=np.array([rate.variance_per_planned_hour]),
    )
    early, middle, late = (float(first_day_reaching(level, grid, cdf)[0]) for level in (0.1, 0.5, 0.9))
    return early, middle, late


def by_first_to_last_slope(meter: SimulatedMeter) -> Answer:
    """The spreadsheet: newest minus oldest value over the days between."""
    order = np.argsort(meter.day, kind="stable")
    return _slope(meter, meter.day[order], meter.shown_h[order])


def by_naive_cleaning(meter: SimulatedMeter) -> Answer:
    """The same after leaving out, one after the other, what falls or rises over 24 h a day."""
    order = np.argsort(meter.day, kind="stable")
    kept = [int(order[0])]
    for at in order[1:]:
        rise_h, gap_d = meter.shown_h[at] - meter.shown_h[kept[-1]], meter.day[at] - meter.day[kept[-1]]
        if 0.0 <= rise_h <= 24.0 * (gap_d + 1.0):
            kept.append(int(at))
    return _slope(meter, meter.day[kept], meter.shown_h[kept])


def _slope(meter: SimulatedMeter, day: FloatArray, shown_h: FloatArray) -> Answer:
    now = float(meter.day.max())
    rise_h = max(float(shown_h[-1] - shown_h[0]), 1.0)
    h_per_day = rise_h / max(float(day[-1] - day[0]), 1.0)
    total_h = rise_h + h_per_day * (now - float(day[-1]))
    return Answer(total_h, now + meter.needed_h / h_per_day)


def measure(meters: int, seed: int) -> dict[str, dict[str, float]]:
    """For each way: median relative date error, shares of dates far off and of wrong totals, coverage."""
    rng = np.random.default_rng(seed)
    ways = {
        "elementdue, planned hours told": by_elementdue,
        "elementdue, weekly hours and standstills not told": lambda meter: by_elementdue(meter, hours_told=False),
        "newest minus oldest": by_first_to_last_slope,
        "the same after naive cleaning": by_naive_cleaning,
    }
    rows: dict[str, list[list[float]]] = {way: [] for way in ways}
    for _ in range(meters):
        meter = simulate(rng)
        now = float(meter.day.max())
        true_total_h = float(np.diff(np.interp([meter.day.min(), now], meter.clock_day, meter.true_h))[0])
        goal_h = np.interp(now, meter.clock_day, meter.true_h) + meter.needed_h
        if goal_h >= meter.true_h[-1]:
            continue
        true_date = float(meter.clock_day[np.searchsorted(meter.true_h, goal_h)])
        for way, answer in ((way, ask(meter)) for way, ask in ways.items()):
            rows[way].append(
                [
                    abs(answer.date - true_date) / (true_date - now),
                    abs(answer.total_h - true_total_h) > 0.05 * true_total_h + 30.0,
                    answer.early <= true_date <= answer.late if np.isfinite(answer.early) else np.nan,
                    float(not meter.replaced and not meter.mistyped),
                ]
            )
    return {way: _summary(np.array(found, dtype=np.float64)) for way, found in rows.items()}


def _summary(found: FloatArray) -> dict[str, float]:
    error, wrong, covered, plain = found.T
    return {
        "meters": len(found),
        "date_error_median": float(np.median(error)),
        "date_error_median_untroubled": float(np.median(error[plain == 1.0])),
        "date_error_over_half": float((error > 0.5).mean()),
        "total_wrong": float(wrong.mean()),
        "covered_80": float(covered.mean()),
    }


def table(results: dict[str, dict[str, float]]) -> str:
    lines = [
        "| way | median date error | same, untroubled meters | dates over 50 % off | totals wrong "
        "| 80 % interval holds |",
        "|---|---|---|---|---|---|",
    ]
    for way, found in results.items():
        shares = [
            found[name]
            for name in (
                "date_error_median",
                "date_error_median_untroubled",
                "date_error_over_half",
                "total_wrong",
                "covered_80",
            )
        ]
        lines.append(f"| {way} | " + " | ".join("–" if np.isnan(s) else f"{s:.1%}" for s in shares) + " |")
    return "\n".join(lines)


def main() -> None:
    meters, seed = (int(value) for value in (sys.argv[1:] + ["2000", "20261124"][len(sys.argv) - 1 :])[:2])
    started = time.perf_counter()
    results = measure(meters, seed)
    judged = next(iter(results.values()))["meters"]
    sys.stdout.write(f"{table(results)}\n\n{judged} of {meters} meters, seed {seed}, ")
    sys.stdout.write(f"{time.perf_counter() - started:.0f} s\n")


if __name__ == "__main__":
    main()
