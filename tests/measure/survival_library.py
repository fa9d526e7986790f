"""Do lives pooled here come out as a general survival library fits them, on the data sets that it brings itself?

Right-censored sets of lifelines (C. Davidson-Pilon; install it beside, the project does not need it): the log-normal
life by `LogNormalFitter`'s maximum of likelihood, and the survival curve by `KaplanMeierFitter`. Pooling also reckons
with what a few lives leave open of their mean, which a maximum of likelihood does not; so each set is told many times
over, as that of many positions that are alike, and then both mean the same.

Run: python tests/measure/survival_library.py
"""

import importlib
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.life_model import LifeSpread, pooled_life_prior
from scheduler.statistics.survival_curve import survival_curve

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SETS = {
    "rossi": ("week", "arrest"),
    "waltons": ("T", "E"),
    "larynx": ("time", "death"),
    "leukemia": ("t", "status"),
    "lung": ("time", "status"),
    "kidney_transplant": ("time", "death"),
    "gbsg2": ("time", "cens"),
}
"""Name of the data set: its columns of the time and of whether it ended."""
TOLD_LIVES = 20_000
"""The copies of a set hold about so many lives together."""


@dataclass(frozen=True, slots=True)
class Held:
    """One set: lives, and the largest relative difference of each of ours from the library's."""

    name: str
    lives: int
    ended: int
    log_median: float
    log_sd: float
    curve: float


def pooled(life: Floats, ended: Flags, copies: int) -> tuple[float, float]:
    """Mean and standard deviation of ln life by the pooling, with next to no prior."""
    position = np.repeat(np.arange(copies), len(life))
    prior = pooled_life_prior(
        np.tile(life, copies),
        np.tile(ended, copies),
        np.zeros_like(position),
        position,
        for_type=np.array([0]),
        for_position=np.array([0]),
        first_guess_h=float(np.median(life)),
        first_guess_log_sd=5.0,
        spread=LifeSpread(within_log_sd=0.8, between_log_sd=1e-3, worth_lives=1e-9, floor=1e-3),
    )
    return float(prior.log_median[0]), prior.within_log_sd


def held_against(name: str) -> Held:
    lifelines, datasets = importlib.import_module("lifelines"), importlib.import_module("lifelines.datasets")
    time_column, ended_column = SETS[name]
    table = getattr(datasets, f"load_{name}")()
    table = table[table[time_column] > 0]
    life = table[time_column].to_numpy(dtype=np.float64)
    ended = table[ended_column].to_numpy(dtype=np.float64) > 0.0
    log_normal = lifelines.LogNormalFitter().fit(life, ended)
    mean, sd = pooled(life, ended, max(TOLD_LIVES // len(life), 2))
    curve = survival_curve(life, ended)
    product = lifelines.KaplanMeierFitter().fit(life, ended).survival_function_at_times(curve.at_h).to_numpy()
    return Held(
        name=name,
        lives=len(life),
        ended=int(ended.sum()),
        log_median=abs(mean / float(log_normal.mu_) - 1.0),
        log_sd=abs(sd / float(log_normal.sigma_) - 1.0),
        curve=float(np.abs(curve.survival - product).max()),
    )


def main() -> None:
    try:
        importlib.import_module("lifelines")
    except ImportError:
        sys.stdout.write("lifelines is not installed: there is nothing to hold the lives against\n")
        return
    lines = [
        "| data set | lives | ended | ln median off by | log-sd off by | curve off by |",
        "|---|---|---|---|---|---|",
    ]
    for each in map(held_against, SETS):
        off = " | ".join(f"{value:.1e}" for value in (each.log_median, each.log_sd, each.curve))
        lines.append(f"| {each.name} | {each.lives} | {each.ended} | {off} |")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
