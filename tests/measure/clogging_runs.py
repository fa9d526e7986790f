"""How good is the forecast on filters that were really loaded until they clogged?

24 recorded runs (the reference page of the project's design says whose): two particle sizes, three solids levels
each, four runs a level. Each level in turn is forecast from what the other two levels of its particle size teach,
one reading every 2 s, at 25, 50, 75 and 90 % of the run; a run ends at the first ΔP above 20 psi. Beside it on the
same readings: the level look-up (where on the other runs' mean curve does the ΔP now stand), the look-up blended
with the mean life, a straight line and an exponential through the last 20 readings. Once more with the solids level
told, as a plant would that knows how much dirt comes in. The data are not part of the project: without the folder
there is nothing to measure.

Run: python tests/measure/clogging_runs.py FOLDER_OF_THE_RECORDINGS
"""

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.condition_forecast import ConditionForecast, forecast
from scheduler.statistics.condition_learning import Learned, LivesRead, Targets, learn
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd
from scheduler.statistics.load_posterior import ReadingColumns

Floats = npt.NDArray[np.float64]

END_PSI = 20.0
EVERY_S = 2.0
GAUGE_SD_PSI = 0.4
"""As the flat part of the recordings shows it."""
SHIFT_PSI = 0.3
RELATIVE_SD = 0.05
CLEAN_PSI, CLEAN_LOG_SD = 1.0, 1.0
"""No sheet is known: a twentieth of the end, give or take a factor of three."""
H_PER_S = 10.0
"""A run of 200 s as a life of 2,000 h: the model's hours and horizons are those of a plant."""
AGES = (0.25, 0.50, 0.75, 0.90)
WAYS = ("elementdue", "look-up", "look-up and mean life", "straight line", "exponential")
LAST_READINGS = 20


@dataclass(frozen=True, slots=True)
class Run:
    """One recorded run: readings until its end."""

    name: str
    solids: float
    end_s: float
    time_s: Floats
    dp_psi: Floats


def read_runs(folder: Path) -> dict[str, list[Run]]:
    """The runs by particle size; empty where the folder does not hold them."""
    found: dict[str, list[Run]] = {}
    profiles = folder / "Training Operation Profiles of Samples.csv"
    if not profiles.exists():
        return found
    for line in profiles.read_text(encoding="utf-8-sig").splitlines()[1:]:
        sample, size, solids = line.split(";")
        [path] = folder.glob(f"*/Sample{int(sample):02}.csv")
        table = np.genfromtxt(path, delimiter=",", skip_header=1)
        found.setdefault(size, []).append(_run(path.stem, float(solids.replace(",", ".")), table))
    return found


def _run(name: str, solids: float, table: Floats) -> Run:
    time_s, flow, dp_psi = table[:, 0], table[:, 1], table[:, 2] - table[:, 3]
    end = int(np.argmax(dp_psi > END_PSI))
    usual = float(np.median(flow[:end]))
    taken = np.arange(0, end, round(EVERY_S / float(np.median(np.diff(time_s)))))
    taken = taken[flow[taken] > 0.5 * usual]
    return Run(name, solids, float(time_s[end]), time_s[taken], np.maximum(dp_psi[taken] * usual / flow[taken], 0.0))


def columns(runs: Sequence[Run], until_s: Sequence[float], pace: Callable[[Run], float]) -> ReadingColumns:
    """Readings of the runs up to a time each, hours stretched by `pace`."""
    kept = [run.time_s <= until for run, until in zip(runs, until_s, strict=True)]
    dp = np.concatenate([run.dp_psi[at] for run, at in zip(runs, kept, strict=True)])
    smooth = np.concatenate([_running_median(run.dp_psi[at]) for run, at in zip(runs, kept, strict=True)])
    variance = (GAUGE_SD_PSI**2 + (RELATIVE_SD * smooth) ** 2) / (smooth + SHIFT_PSI) ** 2
    return ReadingColumns(
        offsets=np.concatenate([[0], np.cumsum([at.sum() for at in kept])]).astype(np.int64),
        run_h=np.concatenate([run.time_s[at] * pace(run) for run, at in zip(runs, kept, strict=True)]),
        log_dp=np.log(dp + SHIFT_PSI),
        weight=1.0 / variance,
    )


def _running_median(values: Floats) -> Floats:
    padded = np.pad(values, 2, mode="edge") if len(values) else np.zeros(4)
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1))


def taught(history: Sequence[Run], pace: Callable[[Run], float]) -> Learned:
    """What the runs of the other levels teach of one to come."""
    count = len(history)
    one, many = np.ones(1), np.ones(count)
    terminal, clean = np.log(END_PSI + SHIFT_PSI), np.log(CLEAN_PSI + SHIFT_PSI)
    nought = np.zeros(count, dtype=np.int64)  # one type in one place: the rig
    where = Where(nought, nought, nought, np.zeros(count))
    life_h = np.array([run.end_s * pace(run) for run in history])
    lives = LivesRead(
        names=("medium",),
        readings=columns(history, [run.end_s for run in history], pace),
        run_h=life_h,
        end=np.full(count, LifeEnd.AT_LIMIT),
        where=where,
        log_terminal=terminal * many,
        log_clean_sheet=clean * many,
        clean_log_sd=CLEAN_LOG_SD * many,
    )
    targets = Targets(
        where=where.at(np.array([0])),
        guess=FirstGuess(np.log(2000.0) * one, 0.8 * one),
        own_life=np.array([-1]),
        log_terminal=terminal * one,
        log_clean_sheet=clean * one,
        clean_log_sd=CLEAN_LOG_SD * one,
    )
    return learn(lives, targets)


def forecasts(run: Run, learned: Learned, pace: Callable[[Run], float]) -> ConditionForecast:
    """The forecast of a run at each of AGES, as if each age were a position of its own."""
    until = [age * run.end_s for age in AGES]
    count = np.zeros(len(AGES), dtype=np.int64)
    before = learned.targets.at(count).before(
        np.full(len(AGES), np.log(END_PSI + SHIFT_PSI)), np.full(len(AGES), np.log(CLEAN_PSI + SHIFT_PSI))
    )
    readings = columns([run] * len(AGES), until, pace)
    return forecast(readings, before, run_h_now=np.array(until) * pace(run), shapes=learned.targets.shapes)


def simple_ways(run: Run, history: Sequence[Run], until_s: float) -> tuple[float, float, float, float]:
    """The run's end in seconds by look-up, look-up and mean life, straight line and exponential."""
    known = run.time_s <= until_s
    time_s, dp = run.time_s[known], _running_median(run.dp_psi[known])
    mean_s = float(np.mean([one.end_s for one in history]))
    level = float(dp[-1])
    ages = [_age_at(one, level) for one in history]
    looked_up = until_s / max(float(np.mean(ages)), 1e-3)
    # the nearer the end, the more the level says: weights by the spread of the ages at which it was reached
    spread_s = looked_up * float(np.std(ages)) / max(float(np.mean(ages)), 1e-3)
    life_sd_s = float(np.std([one.end_s for one in history]))
    trust = life_sd_s**2 / (life_sd_s**2 + spread_s**2 + 1e-9)
    blended = trust * looked_up + (1.0 - trust) * mean_s
    found = []
    for values, end in ((dp, END_PSI), (np.log(np.maximum(dp, 0.05)), np.log(END_PSI))):
        slope, base = np.polyfit(time_s[-LAST_READINGS:], values[-LAST_READINGS:], 1)
        found.append(max((end - base) / slope, until_s) if slope > 0.0 else mean_s)
    return looked_up, max(blended, until_s), found[0], found[1]


def _age_at(run: Run, level_psi: float) -> float:
    """The share of its life at which a run first stood at a level, by its running median, never falling."""
    risen = np.maximum.accumulate(_running_median(run.dp_psi))
    return float(np.interp(level_psi, risen + 1e-9 * np.arange(len(risen)), run.time_s) / run.end_s)


@dataclass(frozen=True, slots=True)
class Answers:
    """Errors in % of life by run, age and way, (R, 4, 5); whether the 80 % band held and lateness, (R, 4)."""

    error: Floats
    held: npt.NDArray[np.bool_]


def measure(runs: dict[str, list[Run]], *, solids_told: bool) -> Answers:
    """Leave one level out."""

    def pace(run: Run) -> float:
        return H_PER_S * (run.solids / 0.425 if solids_told else 1.0)

    errors, held = [], []
    for of_size in runs.values():
        for level in sorted({run.solids for run in of_size}):
            history = [run for run in of_size if run.solids != level]
            learned = taught(history, pace)
            for run in (one for one in of_size if one.solids == level):
                found = forecasts(run, learned, pace)
                left_h = (1.0 - np.array(AGES)) * run.end_s * pace(run)
                low, median, high = (found.remaining.quantile(level) for level in (0.1, 0.5, 0.9))
                ours = 100.0 * (median - left_h) / (run.end_s * pace(run))
                simple = np.array([simple_ways(run, history, age * run.end_s) for age in AGES])
                others = 100.0 * (simple / run.end_s - 1.0)
                errors.append(np.column_stack([ours, others]))
                held.append((low <= left_h) & (left_h <= high))
    return Answers(np.array(errors), np.array(held))


def table(answers: Answers) -> str:
    lines = [f"| % of life | {' | '.join(WAYS)} | 80 % band holds | later than the truth by over 5 % |"]
    lines.append("|" + "---|" * (len(WAYS) + 3))
    for column, age in enumerate(AGES):
        errors = np.median(np.abs(answers.error[:, column]), axis=0)
        late = 100.0 * float(np.mean(answers.error[:, column, 0] > 5.0))
        shown = " | ".join(f"{error:.1f}" for error in errors)
        lines.append(f"| {100 * age:.0f} | {shown} | {100 * answers.held[:, column].mean():.0f}% | {late:.0f}% |")
    return "\n".join(lines)


def main() -> None:
    runs = read_runs(Path(sys.argv[1])) if len(sys.argv) > 1 else {}
    if not runs:
        sys.stdout.write("the recordings are not there: name the folder that holds their profiles\n")
        return
    sys.stdout.write(f"solids level not told\n\n{table(measure(runs, solids_told=False))}\n\n")
    sys.stdout.write(f"solids level told\n\n{table(measure(runs, solids_told=True))}\n")


if __name__ == "__main__":
    main()
