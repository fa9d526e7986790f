"""How fast is the ΔP forecast, beside a curve-fitting loop, and in how much memory?

Positions are drawn from the model (`model_lives`), with shape weights as finished lives leave them. A few thousand
are drawn and repeated, since drawing would take more memory than forecasting. Measured, one after the other:

- the whole: positions × readings through `forecast`, with the peak of the process right after it;
- `scipy.optimize.curve_fit` of an exponential on a sample of the same positions, per position: a·exp(b·h) begun at
  the straight line through ln ΔP, which is next to solved already; c + a·exp(b·h), the least that a loading curve
  needs, from the same start; and that with a, b, c ≥ 0, without which some of the curves fall;
- linear in readings: the same positions with 10, 50, 250 and 1,000 readings each;
- one changed position alone, as after a new reading;
- a whole plant in SQLite: load, compute (duty, learning, condition, due dates) and the pass with all that it writes.

Run: python tests/measure/forecast_speed.py [positions] [readings each] [positions of the plant, 0: none] [seed]
"""

import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import OptimizeWarning, curve_fit

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.condition_forecast import ForecastSettings, KnownBefore, ReadingColumns, forecast
from tests.measure.model_lives import ModelLives, draw_lives, learned_weights
from tests.measure.peak_memory import peak_MB

Floats = npt.NDArray[np.float64]
DRAWN_AT_MOST = 5_000
FITTED_CURVES = 300
READINGS_EACH = (10, 50, 250, 1000)


def positions_with(count: int, readings_each: int, seed: int) -> ModelLives:
    """So many positions; beyond `DRAWN_AT_MOST` the same lives again."""
    rng = np.random.default_rng(seed)
    drawn = min(count, DRAWN_AT_MOST)
    lives = draw_lives(rng, np.full(drawn, readings_each), learned_weights(rng, drawn), ForecastSettings())
    return lives if drawn == count else _repeated(lives, np.arange(count) % drawn)


def _repeated(lives: ModelLives, rows: npt.NDArray[np.int64]) -> ModelLives:
    before = lives.before
    told = {column.name: getattr(before, column.name) for column in fields(KnownBefore)}
    again = {name: values[rows] for name, values in told.items() if isinstance(values, np.ndarray) and name != "life"}
    return ModelLives(
        lives.readings.of(rows),
        KnownBefore(**{**told, **again, "life": before.life.at(rows)}),
        lives.run_h_now[rows],
        lives.left_h[rows],
    )


def took_s(work: Callable[[], object], rounds: int = 1) -> float:
    """The best of some rounds: other work on the machine only ever slows."""
    best = np.inf
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def forecast_s(lives: ModelLives, rounds: int = 1) -> float:
    return took_s(lambda: forecast(lives.readings, lives.before, run_h_now=lives.run_h_now), rounds)


def _exponential(hours: Floats, start: float, per_h: float) -> Floats:
    return np.asarray(start * np.exp(per_h * hours))


def _exponential_with_offset(hours: Floats, start: float, per_h: float, offset: float) -> Floats:
    return np.asarray(offset + start * np.exp(per_h * hours))


CURVES: dict[str, tuple[Callable[..., Floats], int, float]] = {
    "a·exp(b·h)": (_exponential, 2, -np.inf),
    "c + a·exp(b·h)": (_exponential_with_offset, 3, -np.inf),
    "c + a·exp(b·h), none below 0": (_exponential_with_offset, 3, 0.0),
}
"""By name: the curve, its number of parameters and what none of them may fall below."""


def curve_fits_s(lives: ModelLives, curve: str) -> float:
    """Fitting each position's readings, one after the other; one that does not settle counts as done."""
    return took_s(lambda: [_fit(lives.readings, place, curve) for place in range(len(lives))])


def _fit(readings: ReadingColumns, place: int, curve: str) -> Floats | None:
    law, parameters, least = CURVES[curve]
    rows = slice(readings.offsets[place], readings.offsets[place + 1])
    hours, log_dp = readings.run_h[rows] / readings.run_h[rows][-1], readings.log_dp[rows]
    slope, base = np.polyfit(hours, log_dp, 1)
    first = np.maximum([np.exp(base), slope, 0.0], max(least, -1e3) + 1e-6)[:parameters]
    dp = np.exp(log_dp)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OptimizeWarning)
        warnings.simplefilter("ignore", RuntimeWarning)  # a step may overflow; the fit comes back from it
        try:
            sigma = dp / np.sqrt(readings.weight[rows])
            found: Floats = curve_fit(law, hours, dp, p0=first, sigma=sigma, bounds=(least, np.inf))[0]
        except RuntimeError:
            return None
    return found


@dataclass(frozen=True, slots=True)
class Speed:
    """Seconds and megabytes. fit_s: by curve, per position. by_readings: readings each, positions, seconds."""

    positions: int
    readings_each: int
    whole_s: float
    whole_cpu_s: float
    inputs_MB: float
    peak_MB: float
    fit_s: dict[str, float]
    by_readings: tuple[tuple[int, int, float], ...]
    one_s: float

    @property
    def per_position_s(self) -> float:
        return self.whole_s / self.positions


def measure(positions: int, readings_each: int, seed: int, *, fitted: int = FITTED_CURVES) -> Speed:
    lives = positions_with(positions, readings_each, seed)
    inputs_MB, cpu_s = peak_MB(), time.process_time()
    whole_s = forecast_s(lives)
    cpu_s, peak = time.process_time() - cpu_s, peak_MB()
    sample = _repeated(lives, np.arange(min(fitted, positions)))
    one = _repeated(lives, np.array([0]))
    del lives
    several = max(min(positions // 25, 2000), 50)
    by_readings = tuple(
        (each, several, forecast_s(positions_with(several, each, seed), rounds=2)) for each in READINGS_EACH
    )
    return Speed(
        positions=positions,
        readings_each=readings_each,
        whole_s=whole_s,
        whole_cpu_s=cpu_s,
        inputs_MB=inputs_MB,
        peak_MB=peak,
        fit_s={curve: curve_fits_s(sample, curve) / len(sample) for curve in CURVES},
        by_readings=by_readings,
        one_s=float(np.median([forecast_s(one) for _ in range(30)])),
    )


def tables(speed: Speed) -> str:
    """The results as tables of Markdown."""
    ours_s = speed.per_position_s
    lines = [
        "| way | ms per position | 100,000 positions, s | × ours |",
        "|---|---|---|---|",
        *(
            f"| {name} | {1e3 * each_s:.3f} | {1e5 * each_s:.1f} | {each_s / ours_s:.1f} |"
            for name, each_s in (
                (f"forecast, {speed.positions:,} positions × {speed.readings_each} readings", ours_s),
                *((f"curve_fit, {curve}", each_s) for curve, each_s in speed.fit_s.items()),
            )
        ),
        "",
        f"took {speed.whole_s:.1f} s (processor {speed.whole_cpu_s:.1f} s; aim 12 s), peak {speed.peak_MB:.0f} MB "
        f"(aim 1500 MB), {speed.inputs_MB:.0f} MB of it the inputs and the libraries",
        f"one changed position alone: {1e3 * speed.one_s:.1f} ms (aim 5 ms)",
        "",
        "| readings each | positions | ms per position | µs per reading | × the time of the row before |",
        "|---|---|---|---|---|",
    ]
    before_s = np.nan
    for each, positions, all_s in speed.by_readings:
        times = "–" if np.isnan(before_s) else f"{all_s / before_s:.2f}"
        per_reading_us = 1e6 * all_s / positions / each
        lines.append(f"| {each} | {positions} | {1e3 * all_s / positions:.3f} | {per_reading_us:.2f} | {times} |")
        before_s = all_s
    return "\n".join(lines)


def main() -> None:
    numbers = [int(each) for each in sys.argv[1:]]
    positions, readings_each, plant_positions, seed = (numbers + [100_000, 50, 500, 1][len(numbers) :])[:4]
    began = time.perf_counter()
    sys.stdout.write(tables(measure(positions, readings_each, seed)) + "\n")
    if plant_positions:
        from tests.measure.plant_speed import measure_plant, plant_table  # noqa: PLC0415 - its imports take memory

        sys.stdout.write("\n" + plant_table(measure_plant(plant_positions, seed)) + "\n")
    sys.stdout.write(f"\nseed {seed}, {time.perf_counter() - began:.0f} s in all\n")


if __name__ == "__main__":
    main()
