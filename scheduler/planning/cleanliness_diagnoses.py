"""What the oil samples say, as diagnoses, as work, and as the one element that the cause may point to."""

from collections.abc import Iterable
from typing import Any

from scheduler.planning.cleanliness import SystemCleanliness, Verdict
from scheduler.planning.diagnoses import Diagnosis
from scheduler.vocabulary import Severity, TaskKind

_CODE_OF = {
    Verdict.MISSED: ("cleanliness-missed", Severity.SOON),
    Verdict.ONE_BAD: ("cleanliness-one-bad-sample", Severity.SOON),
    Verdict.TOO_FEW: ("cleanliness-too-few-samples", Severity.NOTE),
}

_OIL_GOES_PAST = frozenset({"bypass-open-warm", "dp-fell-without-change"})


def runs_past(diagnoses: Iterable[Diagnosis]) -> frozenset[int]:
    """Positions past whose element the oil goes: what samples find there is no fault of the element."""
    return frozenset(found.position for found in diagnoses if found.code in _OIL_GOES_PAST)


def cleanliness_diagnoses(found: Iterable[SystemCleanliness]) -> list[Diagnosis]:
    """One diagnosis per system whose samples miss the target or are too few, with the work that it asks for.

    A system that is never sampled is not spoken of: its plant has decided so.
    """
    return [
        Diagnosis(
            each.system,
            -1,
            *_CODE_OF[each.verdict],
            each.facts,
            None if each.asks_for is None else TaskKind(each.asks_for.value),
            since_day=each.since_day,
        )
        for each in found
        if each.verdict in _CODE_OF and each.since_day > float("-inf")
    ]


def blamed_elements(found: Iterable[SystemCleanliness]) -> dict[int, dict[str, Any]]:
    """By position, what the samples say against its element; at most one of a system."""
    return {each.position: each.facts for each in found if each.position >= 0}
