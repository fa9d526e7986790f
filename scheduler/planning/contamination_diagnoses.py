"""What the balance says as diagnoses: more dirt coming in, an element that lets through, oil that got dirty at a
service.

Dirty oil itself is told by `cleanliness_diagnoses`; here its likeliest causes are put beside it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.planning.cleanliness import SystemCleanliness, Verdict
from scheduler.planning.contamination import CauseFound, Contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.contamination_causes import Cause
from scheduler.vocabulary import Severity, TaskKind

RISEN_LOG = float(np.log(1.5))
RISEN_PROBABILITY, RISEN_SAMPLES = 0.985, 3
RISING_CAUSE = 0.5
"""More dirt is coming in: the counts of three samples or more rose by half at least with this probability, and of the
causes that is likelier than all others together. Ours, by tests/measure/cleanliness_causes.py."""

LOST_PROBABILITY, LOST_PAIRS = 0.8, 2
"""An element lets through: by two pairs of samples or more (ours, as above)."""


def contamination_diagnoses(columns: PlantColumns, found: Contamination) -> list[Diagnosis]:
    """Of every system what stands now."""
    risen = found.change.rise_probability(RISEN_LOG)
    diagnoses: list[Diagnosis] = []
    for system, cause in sorted(found.causes.items()):
        diagnoses += _ingression_rising(found, system, cause, float(risen[system]))
        diagnoses += _efficiency_lost(columns, system, cause)
    return diagnoses


def with_causes(
    cleanliness: Iterable[SystemCleanliness], columns: PlantColumns, found: Contamination
) -> list[SystemCleanliness]:
    """The same, with the causes beside each missed target."""
    return [
        replace(each, facts=each.facts | {"causes": cause_facts(columns, found.causes[each.system])})
        if each.verdict is Verdict.MISSED and each.system in found.causes
        else each
        for each in cleanliness
    ]


def cause_facts(columns: PlantColumns, cause: CauseFound) -> dict[str, Any]:
    """Plain numbers and words: P of each cause, the element that was looked at, and what was missing."""
    return {
        "position": columns.positions.code[cause.position],
        "probability": {each.value: round(chance, 3) for each, chance in cause.probability.items()},
        "missing": list(cause.missing),
    }


def _ingression_rising(found: Contamination, system: int, cause: CauseFound, risen: float) -> Iterator[Diagnosis]:
    change = found.change
    if (
        risen < RISEN_PROBABILITY
        or change.recent[system] < RISEN_SAMPLES
        or cause.probability[Cause.INGRESSION] < RISING_CAUSE
    ):
        return
    step, log_sd = float(change.log_step[system]), float(change.log_sd[system])
    numbers: dict[str, Any] = {
        "times": round(float(np.exp(step)), 1),
        "times_10": round(float(np.exp(step - 1.2816 * log_sd)), 1),
        "times_90": round(float(np.exp(step + 1.2816 * log_sd)), 1),
        "since_day": float(change.since_day[system]),
        "samples": int(change.recent[system]),
        "size_um_c": SIZES_um_c[found.history.size[system]],
        "probability": round(cause.probability[Cause.INGRESSION], 3),
        "missing": list(cause.missing),
    }
    last_day = float(found.history.last_day()[system])
    yield Diagnosis(system, -1, "ingression-rising", Severity.SOON, numbers, TaskKind.INSPECT, since_day=last_day)


def _efficiency_lost(columns: PlantColumns, system: int, cause: CauseFound) -> Iterator[Diagnosis]:
    passed = cause.passed
    if passed is None or passed.pairs < LOST_PAIRS or cause.probability[Cause.EFFICIENCY_LOSS] < LOST_PROBABILITY:
        return
    kind = int(columns.fitted.type[cause.position])
    numbers: dict[str, Any] = {
        "beta": round(float(np.exp(-passed.log_passed)), 2),
        "stated_beta": _known(float(columns.types.beta[kind])),
        "size_um_c": SIZES_um_c[passed.size],
        "pairs": passed.pairs,
        "at_day": passed.last_day,
        "probability": round(cause.probability[Cause.EFFICIENCY_LOSS], 3),
    }
    yield Diagnosis(
        *(system, cause.position, "efficiency-lost", Severity.SOON, numbers, TaskKind.INSPECT),
        since_day=passed.last_day,
    )


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
