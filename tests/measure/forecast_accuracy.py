"""How good are the hours left to the terminal on plants whose truth is known and whose laws are not the model's?

Plants of `simulated_plants`, one for each law and seed: a history in which most elements were changed early, then a
test period in which each stays in until it is past its terminal. On random days of that period everything known by
then is planned from, and each forecast is held against the truth, in % of the element's whole life. Beside it, on the
same readings: the fixed interval that would have been best for the type (chosen with hindsight), a straight line and
an exponential through the readings that count, and an observer who knows the dirt held exactly.

Run: python tests/measure/forecast_accuracy.py [seeds, e.g. 101-104] [days]
"""

import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.duty import assess_duty
from scheduler.planning.plant_columns import PlantColumns
from tests.measure.simulated_plants.as_known import as_known, current_lives
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import Life, SimulatedPlant, simulate

Floats = npt.NDArray[np.float64]
RISK = 0.1
"""The plant's: a position is told that it is past its terminal where it is due now, that is, past it with so much
probability."""
WAYS = ("elementdue", "fixed interval", "straight line", "exponential", "knows the dirt")
AGES = ((0.0, 0.3), (0.3, 0.6), (0.6, 0.85), (0.85, 1.0))
LATE = 20.0
SHRINKS_OVER_H = 300.0
"""The observer believes the type's usual rate as if it had been seen for so long."""
LINE_READINGS = 12


@dataclass(frozen=True, slots=True)
class Asked:
    """One position on one day; hours of the truth, and of each way's forecast in the order of WAYS."""

    law: str
    life: tuple[str, int, int, float]
    life_h: float
    run_h: float
    left_h: float
    readings: int
    early_h: float
    late_h: float
    past_share: float
    forecast_h: tuple[float, ...]


def ask(law: str, seed: int, days: int) -> list[Asked]:
    """Every test life of a plant, on each of some random days."""
    plant = simulate(law, seed)
    usual_h = _best_intervals(plant)
    rng = np.random.default_rng([seed, 7])
    asked: list[Asked] = []
    for day in np.sort(rng.uniform(plant.test_starts_day, plant.test_ends_day, days)):
        columns = as_known(plant, float(day))
        duty = assess_duty(columns)
        condition = assess_condition(columns, duty)
        early_h, late_h = (condition.remaining.quantile(level) for level in (0.1, 0.9))
        told_h = condition.remaining.least_missed_h(np.nan_to_num(duty.run_h))
        offsets = columns.dp.offsets
        counted = condition.counted() & ~np.isnan(duty.reading_run_h)
        for place, life in enumerate(current_lives(plant, float(day))):
            if life is None:
                continue
            rows = np.arange(offsets[place], offsets[place + 1])
            rows = rows[counted[rows]]
            life_h = float(plant.run_h_between(place, life.fitted_day, life.terminal_day))
            run_h = float(plant.run_h_between(place, life.fitted_day, day))
            kind = plant.places[place].type
            line_h, exponential_h = _curve_fits(columns, condition, duty.reading_run_h, rows, place, run_h)
            asked.append(
                Asked(
                    law=law,
                    life=(law, seed, place, life.fitted_day),
                    life_h=life_h,
                    run_h=run_h,
                    left_h=life_h - run_h,
                    readings=len(rows),
                    early_h=float(early_h[place]),
                    late_h=float(late_h[place]),
                    past_share=float(condition.remaining.already_reached[place]),
                    forecast_h=(
                        float(told_h[place]),
                        max(usual_h[kind] - run_h, 0.0),
                        line_h,
                        exponential_h,
                        _observer(life, float(day), run_h, usual_h[kind]),
                    ),
                )
            )
    return asked


def _best_intervals(plant: SimulatedPlant) -> dict[int, float]:
    """Per type: the median of the test lives, the interval with the least median error."""
    lives_h: dict[int, list[float]] = defaultdict(list)
    for life in plant.lives:
        kind = plant.places[life.place].type
        if life.removed_day > plant.test_starts_day:
            lives_h[kind].append(float(plant.run_h_between(life.place, life.fitted_day, life.terminal_day)))
    return {kind: float(np.median(found)) for kind, found in lives_h.items()}


def _observer(life: Life, day: float, run_h: float, usual_h: float) -> float:
    held = float(np.interp(day, life.fitted_day + np.arange(len(life.load_share)), life.load_share))
    rate = (held + SHRINKS_OVER_H / usual_h) / (run_h + SHRINKS_OVER_H)
    return max(1.0 - held, 0.0) / rate


def _curve_fits(
    columns: PlantColumns, condition: Condition, run_h: Floats, rows: npt.NDArray[np.intp], place: int, now_h: float
) -> tuple[float, float]:
    """Hours left by a straight line and by an exponential through the last readings that count; the life
    prior's own median where there are too few, or where they do not rise."""
    usual = max(float(np.exp(condition.life.log_median[place])) - now_h, 0.0)
    terminal = condition.terminal_element_dp_bar[place]
    rows = rows[-LINE_READINGS:]
    dp = condition.element_dp_bar[rows]
    if len(rows) < 3 or np.ptp(run_h[rows]) <= 0.0:
        return usual, usual
    found = []
    for level, end in ((dp, terminal), (np.log(np.maximum(dp, 0.01)), np.log(terminal))):
        slope, base = np.polyfit(run_h[rows], level, 1)
        found.append(max((end - base) / slope - now_h, 0.0) if slope > 0.0 else usual)
    return found[0], found[1]


def median_errors(asked: Iterable[Asked]) -> Floats:
    """Median |error| of each way in % of life, of the positions that are not yet past their terminal."""
    errors = _errors(asked)
    return np.asarray(np.median(np.abs(errors), axis=0)) if len(errors) else np.full(len(WAYS), np.nan)


def _errors(asked: Iterable[Asked]) -> Floats:
    rows = [
        [100.0 * (way_h - each.left_h) / each.life_h for way_h in each.forecast_h]
        for each in asked
        if each.left_h > 0.0
    ]
    return np.array(rows).reshape(-1, len(WAYS))


@dataclass(frozen=True, slots=True)
class Summary:
    """Of one group: shares in %, errors in % of life."""

    lives: int
    asked: int
    error: float
    to_fixed: float
    to_observer: float
    late_share: float
    band_holds: float
    band_holds_few: float
    past_told: float
    told_too_early: float


def summary(asked: list[Asked]) -> Summary:
    errors = median_errors(asked)
    alive = [each for each in asked if each.left_h > 0.0]
    past = [each for each in asked if each.left_h <= 0.0]
    few = [each for each in alive if each.readings <= 2]
    return Summary(
        lives=len({each.life for each in asked}),
        asked=len(alive),
        error=float(errors[0]),
        to_fixed=float(errors[0] / errors[1]),
        to_observer=float(errors[0] / errors[4]),
        late_share=100.0 * float(np.mean(_errors(alive)[:, 0] > LATE)),
        band_holds=_held(alive),
        band_holds_few=_held(few),
        past_told=_told(past),
        told_too_early=_told(alive),
    )


def _told(asked: list[Asked]) -> float:
    return 100.0 * float(np.mean([each.past_share >= RISK for each in asked])) if asked else np.nan


def _held(asked: list[Asked]) -> float:
    return 100.0 * float(np.mean([each.early_h <= each.left_h <= each.late_h for each in asked])) if asked else np.nan


def tables(by_law: Mapping[str, list[Asked]]) -> str:
    """The results as two tables in Markdown."""
    every = [each for asked in by_law.values() for each in asked]
    lines = [
        f"| law | {' | '.join(each.name.replace('_', ' ') for each in fields(Summary))} |",
        "|" + "---|" * (len(fields(Summary)) + 1),
    ]
    for law, asked in [*by_law.items(), ("all", every)]:
        found = summary(asked)
        numbers = [getattr(found, each.name) for each in fields(Summary)]
        shown = [f"{number:.2f}" if 0.0 < number < 9.95 else f"{number:.0f}" for number in numbers]
        lines.append(f"| {law} | {' | '.join(shown)} |")
    lines += ["", f"| median error by share of life used | {' | '.join(WAYS)} |", "|" + "---|" * (len(WAYS) + 1)]
    for low, high in (*AGES, (0.0, 1.0)):
        some = [each for each in every if low <= each.run_h / each.life_h < high]
        lines.append(f"| {low:.0%} to {high:.0%} | {' | '.join(f'{error:.1f}' for error in median_errors(some))} |")
    return "\n".join(lines)


def main() -> None:
    first, _, last = (sys.argv[1] if len(sys.argv) > 1 else "101-103").partition("-")
    seeds = range(int(first), int(last or first) + 1)
    days = int(sys.argv[2]) if len(sys.argv) > 2 else 10
    began = time.perf_counter()
    by_law = {law: [each for seed in seeds for each in ask(law, seed, days)] for law in LAWS}
    sys.stdout.write(tables(by_law) + "\n")
    sys.stdout.write(f"\nseeds {seeds[0]} to {seeds[-1]}, {days} days each, {time.perf_counter() - began:.0f} s\n")


if __name__ == "__main__":
    main()
