"""Diagnoses over a replay: when each was raised and cleared, and what happened next.

A diagnosis comes true as far as it was followed by a failure: of how many that were raised one followed within
`FOLLOWED_D` days, beside how many would have been by chance, the share of all moments of all positions (or systems,
for those of a system) that were followed by a failure as soon.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.planning.replay import Seen, Standing
from scheduler.vocabulary import RemovalReason

FOLLOWED_D = 60.0
"""Within which a failure is held to have followed; ours."""


@dataclass(frozen=True, slots=True)
class Span:
    """One diagnosis from the step that first had it to the first without it; `cleared_day` None: stood to the end.

    next_change_day, reason: the next change of its position, or of any of its system's; None where none followed.
    """

    of: Standing
    raised_day: float
    cleared_day: float | None
    next_change_day: float | None
    reason: RemovalReason | None
    failed_within: bool


@dataclass(frozen=True, slots=True)
class CodeRecord:
    """How one code fared. stood_d: median of those that cleared, None where none did. by_chance: failures that would
    have followed as soon on as many moments drawn at random."""

    code: str
    raised: int
    cleared: int
    stood_d: float | None
    changed_within: int
    failed_within: int
    by_chance: float


def spans_of(columns: PlantColumns, steps: Sequence[Seen]) -> list[Span]:
    """Every span, in order of raising. What stood at the first step was raised at it, or before."""
    spans: list[Span] = []
    open_since: dict[tuple[str, int, int], tuple[Standing, float]] = {}
    for seen in steps:
        standing = {(each.code, each.system, each.position): each for each in seen.standing}
        for key in [key for key in open_since if key not in standing]:
            spans.append(_span(columns, *open_since.pop(key), seen.as_of_day))
        for key, each in standing.items():
            open_since.setdefault(key, (each, seen.as_of_day))
    spans += [_span(columns, each, raised, None) for each, raised in open_since.values()]
    return sorted(spans, key=lambda span: (span.raised_day, span.of.code, span.of.system, span.of.position))


def records_of(
    columns: PlantColumns, spans: Sequence[Span], steps: Sequence[Seen], chosen: Flags
) -> list[CodeRecord]:
    """One record for each code that was raised, in order of codes; chance is that of the `chosen` positions (P,)."""
    position_chance, system_chance = _chances(columns, np.array([seen.as_of_day for seen in steps]), chosen)
    found = []
    for code in sorted({span.of.code for span in spans}):
        own = [span for span in spans if span.of.code == code]
        stood_d = [span.cleared_day - span.raised_day for span in own if span.cleared_day is not None]
        followed = [
            span
            for span in own
            if span.next_change_day is not None and span.next_change_day - span.raised_day <= FOLLOWED_D
        ]
        found.append(
            CodeRecord(
                code=code,
                raised=len(own),
                cleared=len(stood_d),
                stood_d=float(np.median(stood_d)) if stood_d else None,
                changed_within=len(followed),
                failed_within=sum(span.failed_within for span in own),
                by_chance=sum(system_chance if span.of.position < 0 else position_chance for span in own),
            )
        )
    return found


def _span(columns: PlantColumns, of: Standing, raised_day: float, cleared_day: float | None) -> Span:
    lives = columns.lives
    concerned = (
        lives.position == of.position if of.position >= 0 else columns.positions.system[lives.position] == of.system
    )
    after = np.flatnonzero(concerned & (lives.removed_day > raised_day))
    if not len(after):
        return Span(of, raised_day, cleared_day, None, None, failed_within=False)
    following = int(after[np.argmin(lives.removed_day[after])])
    soon = [row for row in after.tolist() if lives.removed_day[row] - raised_day <= FOLLOWED_D]
    failed = any(lives.reason[row] is RemovalReason.FAILURE for row in soon)
    return Span(
        *(of, raised_day, cleared_day, float(lives.removed_day[following]), lives.reason[following]),
        failed_within=failed,
    )


def _chances(columns: PlantColumns, as_of_day: Floats, chosen: Flags) -> tuple[float, float]:
    """The share of all steps of positions, and of systems, that a failure followed within `FOLLOWED_D`."""
    lives, system = columns.lives, columns.positions.system
    failed = np.array([reason is RemovalReason.FAILURE for reason in lives.reason], dtype=bool)
    failed &= chosen[lives.position]
    chances = []
    of_systems = system[lives.position], len(np.unique(system[chosen]))
    for owner, owners in ((lives.position, int(chosen.sum())), of_systems):
        followed = 0
        for one in np.unique(owner[failed]):
            ahead_d = lives.removed_day[failed & (owner == one)] - as_of_day[:, None]
            followed += int(np.any((ahead_d > 0.0) & (ahead_d <= FOLLOWED_D), axis=1).sum())
        chances.append(followed / max(owners * len(as_of_day), 1))
    return chances[0], chances[1]
