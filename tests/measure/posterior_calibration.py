"""Is the posterior what Bayes' theorem says: do its intervals hold the truth as often as they claim?

Simulation-based calibration: lives are drawn from the model itself (`model_lives`), each is forecast, and the share
of them is counted whose remaining hours lie in the central 50, 80 and 95 % interval. For an exact posterior these
shares are the nominal ones, whatever the readings; so a miss is a mistake in the mathematics or its approximations
(grid, gathering of readings on nodes, single precision), not in the choice of priors. For that the forecast is asked
with the robust step, the caps and the scatter of the terminal off and next to no spread of the coming rate, which
would cover mistakes up. Beside it stands the full model with its defaults on the same draws, wider on purpose.

An element past its terminal has exactly 0 h left; there the probability integral transform is drawn at random
within the jump. "Still lives" are those of the draws that were not past it, which the model cannot know.

Source: Talts, Betancourt, Simpson, Vehtari & Gelman 2018, Validating Bayesian inference algorithms with
simulation-based calibration (the idea; coverage instead of ranks is ours).

Run: python tests/measure/posterior_calibration.py [draws] [seed]
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.condition_forecast import ConditionForecast, ForecastSettings, forecast
from scheduler.statistics.load_grid import first_shape_weights, shape_table
from tests.measure.model_lives import DP_RATIOS, ModelLives, draw_lives, learned_weights

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

NOMINAL = (50.0, 80.0, 95.0)
READING_COUNTS = (1, 3, 8, 20, 50)
BARE = replace(
    ForecastSettings(),
    bin_variance=0.0,
    unlearned_bin_variance=0.0,
    node_likeness=0.0,
    future_rate_log_sd=0.02,
    terminal_load_scatter=0.0,
)
"""The model without what makes it wider than its own mathematics."""
_STATED_TOO_WIDE = 100.0


@dataclass(frozen=True, slots=True)
class Calibrated:
    """D draws: where the truth lies in the posterior alone and in the full model's, from 0 to 1."""

    lives: ModelLives
    bare: Floats
    full: Floats


def calibrate(draws: int, seed: int) -> Calibrated:
    """Half of the draws with the shape weights before any life, half with weights as learned."""
    rng = np.random.default_rng(seed)
    first = first_shape_weights(shape_table(), np.full(draws, np.log(np.mean(DP_RATIOS))))
    weights = np.where(rng.random(draws)[:, None] < 0.5, first, learned_weights(rng, draws))
    lives = draw_lives(rng, rng.choice(READING_COUNTS, draws), weights, BARE)
    within_jump = rng.random(draws)
    return Calibrated(
        lives, transform(bare_forecast(lives), lives, within_jump), transform(_full(lives), lives, within_jump)
    )


def bare_forecast(lives: ModelLives) -> ConditionForecast:
    """The posterior without the robust step: the same model with the readings' variances stated a hundred times too
    wide and the noise known to be as much smaller, so that no reading ever stands out against its stated variance."""
    readings, before = lives.readings, lives.before
    noise = np.ones(len(lives)) if before.noise is None else before.noise
    return forecast(
        replace(readings, weight=readings.weight / _STATED_TOO_WIDE),
        replace(
            before,
            noise=noise / _STATED_TOO_WIDE,
            log_clean_var=before.log_clean_var * _STATED_TOO_WIDE,
            bin_variance=np.zeros(len(lives)),
        ),
        run_h_now=lives.run_h_now,
        settings=BARE,
    )


def _full(lives: ModelLives) -> ConditionForecast:
    return forecast(lives.readings, lives.before, run_h_now=lives.run_h_now)


def transform(found: ConditionForecast, lives: ModelLives, within_jump: Floats) -> Floats:
    """The probability integral transform of the hours truly left."""
    reached = found.remaining.already_reached
    return np.where(lives.left_h > 0.0, found.remaining.cdf_at(lives.left_h), within_jump * reached)


def coverage(transformed: Floats) -> Floats:
    """Share in % of the truths inside each of the nominal central intervals."""
    off_centre = np.abs(transformed - 0.5)
    return np.array([100.0 * np.mean(off_centre <= 0.005 * nominal) for nominal in NOMINAL])


def groups(lives: ModelLives) -> dict[str, Flags]:
    """Draws by what could be wrong with them apart."""
    everything = np.ones(len(lives), dtype=bool)
    alive = lives.left_h > 0.0
    counts = lives.reading_counts
    by_count = {f"{count} reading{'s' if count > 1 else ''}": counts == count for count in READING_COUNTS}
    life_h = lives.run_h_now + lives.left_h
    early = alive & (lives.run_h_now < 0.5 * life_h)
    return {
        "all": everything,
        **by_count,
        "still lives": alive,
        "still lives, first half": early,
        "still lives, second half": alive & ~early,
        "past its terminal": ~alive,
    }


def table(found: Calibrated, chosen: Callable[[str], bool] = lambda _: True) -> str:
    """The coverage as a table of Markdown; what truth could choose (still living or not) may miss its nominal."""
    heads = [f"{which} {nominal:.0f} %" for which in ("posterior", "full model") for nominal in NOMINAL]
    lines = [f"| draws | number | {' | '.join(heads)} |", "|" + "---|" * (len(heads) + 2)]
    for name, rows in groups(found.lives).items():
        if chosen(name) and rows.any():
            shares = np.concatenate([coverage(found.bare[rows]), coverage(found.full[rows])])
            lines.append(f"| {name} | {rows.sum()} | {' | '.join(f'{share:.1f}' for share in shares)} |")
    return "\n".join(lines)


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.perf_counter()
    found = calibrate(draws, seed)
    worst = float(np.max(np.abs(coverage(found.bare) - NOMINAL)))
    sys.stdout.write(table(found) + "\n")
    chance = [float(np.sqrt(nominal * (100.0 - nominal) / draws)) for nominal in NOMINAL]
    by_chance = "/".join(f"{each:.2f}" for each in chance)
    sys.stdout.write(
        f"\nposterior at most {worst:.2f} points off its nominal (by chance {by_chance} of 1 sd; aim 1.5)\n"
    )
    sys.stdout.write(f"{draws} draws, seed {seed}, {time.perf_counter() - began:.0f} s\n")


if __name__ == "__main__":
    main()
