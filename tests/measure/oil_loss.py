"""Does a constant loss of oil raise no alarm, and how soon is a threefold loss seen?

Systems lose oil day by day (a gamma process), and people of four habits top it up; nothing of it is drawn from the
model. At each top-up `oil_loss` is asked anew, so that a year has as many chances of a false alarm as top-ups. Then
systems with so many top-ups of constant loss behind them begin to lose three times as much, and it is counted by
which top-up since then the rise has been a finding, how far off its first day is said, and whether the 80 % bands of
the loss hold the truth.

Run: python tests/measure/oil_loss.py [systems a cell]
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.oil_loss import ALARM, OilLoss, oil_loss

SEED = 20261130
YEAR_D = 365
YEARS = 3
PER_YEAR = (4, 12, 26)
USUAL_L = 10.0
RISE = 3.0
AFTER = (3, 6, 10)
BEFORE = (4, 8)


@dataclass(frozen=True, slots=True)
class Logbook:
    """Top-ups, and the day from which the loss was larger (none: far away)."""

    day: list[float]
    volume_L: list[float]
    rise_day: float


LIMITS: dict[str, Callable[[OilLoss], bool]] = {
    "P ≥ 0.5": lambda said: said.risen >= 0.5,
    f"P ≥ {ALARM}": lambda said: said.risen >= ALARM,
    "finding": lambda said: said.is_finding,
}

Habit = Callable[[np.random.Generator, np.ndarray, float], tuple[list[float], list[float]]]


def losses(rng: np.random.Generator, per_day_L: np.ndarray) -> np.ndarray:
    """Litres lost each day: a gamma process; of a usual top-up's oil the spread is a fourth."""
    unit_L = USUAL_L / 16.0
    return np.asarray(rng.gamma(per_day_L / unit_L, unit_L))


def at_random(rng: np.random.Generator, per_day_L: np.ndarray, _between_d: float) -> tuple[list[float], list[float]]:
    """Somebody pours when he happens to come by, some amount: a Poisson process with log-normal volumes."""
    days = np.flatnonzero(rng.random(len(per_day_L)) < per_day_L / USUAL_L)
    return days.astype(float).tolist(), (USUAL_L * np.exp(0.5 * rng.standard_normal(len(days)) - 0.125)).tolist()


def _looking(
    rng: np.random.Generator, lost_L: np.ndarray, looks: np.ndarray, low_L: Callable[[], float], misjudged_sd: float
) -> tuple[list[float], list[float]]:
    """Topped up to full at a look that finds the level low; what was misjudged is still missing at the next."""
    day, volume, missing_L, before = [], [], 0.0, 0
    limit_L = low_L()
    for look in looks.tolist():
        missing_L += float(lost_L[before:look].sum())
        before = look
        if missing_L < limit_L:
            continue
        poured_L = missing_L * float(np.exp(misjudged_sd * rng.standard_normal()))
        day.append(float(look))
        volume.append(poured_L)
        missing_L, limit_L = missing_L - poured_L, low_L()
    return day, volume


def at_the_mark(
    rng: np.random.Generator, per_day_L: np.ndarray, _between_d: float
) -> tuple[list[float], list[float]]:
    """Looked at every day or two and topped up near the low mark."""
    looks = np.flatnonzero(rng.random(len(per_day_L)) < 0.7)

    def low_L() -> float:
        return USUAL_L * float(np.exp(0.2 * rng.standard_normal()))

    return _looking(rng, losses(rng, per_day_L), looks, low_L, 0.15)


def on_rounds(rng: np.random.Generator, per_day_L: np.ndarray, between_d: float) -> tuple[list[float], list[float]]:
    """Rounds at fixed times, one in five left out, each tops up whatever is worth pouring."""
    looks = np.arange(0, len(per_day_L), max(int(between_d), 1))
    looks = looks[rng.random(len(looks)) < 0.8]
    return _looking(rng, losses(rng, per_day_L), looks, lambda: 0.2 * USUAL_L, 0.3)


def whole_pails(
    rng: np.random.Generator, per_day_L: np.ndarray, _between_d: float
) -> tuple[list[float], list[float]]:
    """A look now and then; a whole pail each time it fits, two at once if both fit."""
    looks = np.flatnonzero(rng.random(len(per_day_L)) < 0.15)
    day, volume = [], []
    missing_L, before = 0.0, 0
    lost_L = losses(rng, per_day_L)
    for look in looks.tolist():
        missing_L += float(lost_L[before:look].sum())
        before = look
        pails = int((missing_L * float(np.exp(0.15 * rng.standard_normal()))) // USUAL_L)
        if pails > 0:
            day.append(float(look))
            volume.append(pails * USUAL_L)
            missing_L -= pails * USUAL_L
    return day, volume


HABITS: dict[str, Habit] = {
    "at random": at_random,
    "at the mark": at_the_mark,
    "on rounds": on_rounds,
    "whole pails": whole_pails,
}


def constant(rng: np.random.Generator, habit: Habit, per_year: int) -> Logbook:
    per_day_L = np.full(YEARS * YEAR_D, per_year * USUAL_L / YEAR_D)
    return Logbook(*habit(rng, per_day_L, YEAR_D / per_year), rise_day=float("inf"))


def risen(rng: np.random.Generator, habit: Habit, per_year: int, before: int) -> Logbook:
    """A rise `before` usual intervals after the beginning, give or take a half."""
    between_d = YEAR_D / per_year
    rise_day = int(between_d * (before + rng.uniform(-0.5, 0.5)))
    per_day_L = np.full(rise_day + int(between_d * 2 * max(AFTER)), USUAL_L / between_d)
    per_day_L[rise_day:] *= RISE
    return Logbook(*habit(rng, per_day_L, between_d), rise_day=float(rise_day))


def asked_at(book: Logbook, k: int) -> OilLoss:
    """What is said right after the k-th top-up; the first is where watching begins."""
    return oil_loss(book.day[1:k], book.volume_L[1:k], from_day=book.day[0], to_day=book.day[k - 1])


def false_alarms(
    rng: np.random.Generator, habit: Habit, per_year: int, systems: int
) -> tuple[dict[str, float], float]:
    """Alarms a system-year for each limit (the first of a system, over the years up to it), and the share of
    times at which the 80 % band of the loss holds the truth."""
    first: dict[str, list[float]] = {limit: [] for limit in LIMITS}
    watched: dict[str, float] = dict.fromkeys(LIMITS, 0.0)
    holds: list[bool] = []
    truth_L = per_year * USUAL_L / YEAR_D * 7.0
    for _ in range(systems):
        book = constant(rng, habit, per_year)
        series = [(book.day[k - 1], asked_at(book, k)) for k in range(4, len(book.day) + 1)]
        for limit, speaks in LIMITS.items():
            alarm = next((day for day, said in series if speaks(said)), None)
            watched[limit] += (YEARS * YEAR_D if alarm is None else alarm) / YEAR_D
            first[limit] += [] if alarm is None else [alarm]
        last = series[-1][1].now if series else None
        if last is not None:
            holds.append(last.low_L_per_week <= truth_L <= last.high_L_per_week)
    return {limit: len(first[limit]) / watched[limit] for limit in LIMITS}, float(np.mean(holds))


@dataclass(frozen=True, slots=True)
class Seen:
    """Of risen systems: share found by each number of top-ups since at each limit, by how many usual intervals the
    first day is wrong (median), share of the 80 % bands, told at ten, that hold the day, the loss before and after.
    """

    by: dict[int, float]
    off_intervals: float
    day_holds: float
    before_holds: float
    after_holds: float


def power(rng: np.random.Generator, habit: Habit, per_year: int, before: int, systems: int) -> Seen:
    found = dict.fromkeys(((k, limit) for k in AFTER for limit in LIMITS), 0)
    off: list[float] = []
    holds: list[tuple[bool, bool, bool]] = []
    told = 0
    truth_L = per_year * USUAL_L / YEAR_D * 7.0
    while told < systems:
        book = risen(rng, habit, per_year, before)
        until = int(np.searchsorted(book.day, book.rise_day))
        if until < 1 or len(book.day) < until + max(AFTER):
            continue
        told += 1
        said = {k: asked_at(book, until + k) for k in AFTER}
        for k, limit in found:
            found[k, limit] += LIMITS[limit](said[k])
        rise = said[max(AFTER)].rise
        if rise is not None:
            off.append(abs(rise.since_day - book.rise_day) * per_year / YEAR_D)
            holds.append(
                (
                    rise.since_low_day <= book.rise_day <= rise.since_high_day,
                    rise.before.low_L_per_week <= truth_L <= rise.before.high_L_per_week,
                    rise.after.low_L_per_week <= RISE * truth_L <= rise.after.high_L_per_week,
                )
            )
    day_holds, before_holds, after_holds = np.mean(holds, axis=0).tolist()
    return Seen(
        {key: many / systems for key, many in found.items()},
        float(np.median(off)),
        day_holds,
        before_holds,
        after_holds,
    )


def main(systems: int) -> None:
    began = time.perf_counter()
    say("| habit | top-ups a year | " + " | ".join(f"alarms a year: {limit}" for limit in LIMITS) + " | holds |")
    say("|---|---|" + "---|" * (len(LIMITS) + 1))
    for name, habit in HABITS.items():
        for per_year in PER_YEAR:
            rng = np.random.default_rng([SEED, per_year, len(name)])
            alarms, holds = false_alarms(rng, habit, per_year, systems)
            cells = " | ".join(f"{alarms[limit]:.3f}" for limit in LIMITS)
            say(f"| {name} | {per_year} | {cells} | {holds:.0%} |")
    say(f"\n{time.perf_counter() - began:.0f} s\n")
    by = " | ".join(f"by {k}: {limit}" for limit in LIMITS for k in AFTER)
    say(f"| habit | top-ups before | {by} | day off, intervals | holds: day | before | after |")
    say("|---|---|" + "---|" * (len(LIMITS) * len(AFTER) + 4))
    for name, habit in HABITS.items():
        for before in BEFORE:
            rng = np.random.default_rng([SEED, before, len(name), 1])
            seen = power(rng, habit, 12, before, systems)
            shares = " | ".join(f"{seen.by[k, limit]:.0%}" for limit in LIMITS for k in AFTER)
            say(
                f"| {name} | {before} | {shares} | {seen.off_intervals:.1f} | {seen.day_holds:.0%} | "
                f"{seen.before_holds:.0%} | {seen.after_holds:.0%} |"
            )
    say(f"\n{time.perf_counter() - began:.0f} s")


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 150)
