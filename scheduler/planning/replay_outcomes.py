"""What became of the lives that a replay forecast, and which forecast is held against which end.

Outcomes are told by what is known at the end, forecasts by what was known then. A forecast of an element that was in
truth no longer fitted (its change was recorded late) is of no life and left out.

Each life is asked at ages, once at each. Errors are told at shares of the life that it then had, as a reader thinks
of them. The probability transform is asked at shares of the life that its first forecast led to expect: an age chosen
by the end would make every forecast look too late.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.comparable_readings import instruments
from scheduler.planning.duty import Duty, run_hours_on
from scheduler.planning.learning import last_log_share
from scheduler.planning.lives import ends_of, ordinary_lives
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.planning.replay import Seen
from scheduler.statistics.forecast_outcomes import MEDIAN, Outcomes
from scheduler.statistics.life_model import LifeEnd
from scheduler.vocabulary import RemovalReason

ASKED_AT_SHARE = (0.25, 0.5, 0.75, 0.9)
"""Of the life that came."""
EXPECTED_SHARE = (0.25, 0.5, 0.75, 1.0)
"""Of the life that the first forecast led to expect."""
_NEAREST_SHARE = 0.1
"""A step further from the age asked than that share of the life is no forecast at that age (ours)."""
_SAME_FITTING_D = 1.0

_PAST_ITS_LIMIT = frozenset({RemovalReason.FAILURE, RemovalReason.INDICATOR})


@dataclass(frozen=True, slots=True)
class PastLives:
    """Finished lives (L,) that tell of others, as they are known at the end of a replay.

    at_limit (L,): ended at the limit, by their reason and their last readings. is_late (L,): the limit had been
    passed at the change: a failure, a tripped indicator, or a last ΔP at the terminal or beyond it.
    """

    position: Ints
    type: Ints
    fitted_day: Floats
    removed_day: Floats
    life_h: Floats
    at_limit: Flags
    is_late: Flags
    reason: tuple[RemovalReason, ...]

    def __len__(self) -> int:
        return len(self.position)

    def of(self, rows: Flags) -> "PastLives":
        """Some of them."""
        return PastLives(
            position=self.position[rows],
            type=self.type[rows],
            fitted_day=self.fitted_day[rows],
            removed_day=self.removed_day[rows],
            life_h=self.life_h[rows],
            at_limit=self.at_limit[rows],
            is_late=self.is_late[rows],
            reason=tuple(reason for reason, kept in zip(self.reason, rows.tolist(), strict=True) if kept),
        )


@dataclass(frozen=True, slots=True)
class Followed:
    """The steps (k,) of a replay that fell into one life, and its run hours at them."""

    step: Ints
    run_h: Floats


@dataclass(frozen=True, slots=True)
class Asked:
    """n forecasts at an age: of which life, at which step, which of the ages, by its ΔP or not."""

    life: Ints
    step: Ints
    age: Ints
    is_read: Flags
    outcomes: Outcomes

    def of(self, rows: Flags) -> "Asked":
        """Some of them."""
        return Asked(self.life[rows], self.step[rows], self.age[rows], self.is_read[rows], self.outcomes.of(rows))


def past_lives(columns: PlantColumns, duty: Duty) -> PastLives:
    """The ordinary finished lives with known hours."""
    last = last_log_share(columns, duty, instruments(columns))
    ends, lives = ends_of(columns, duty, last), columns.lives
    past_terminal = np.nan_to_num(last, nan=-1.0) >= 0.0
    is_late = np.array(
        [
            reason in _PAST_ITS_LIMIT or (reason is RemovalReason.DUE and bool(past))
            for reason, past in zip(lives.reason, past_terminal, strict=True)
        ],
        dtype=bool,
    )
    kept = np.flatnonzero(ordinary_lives(columns, duty))
    return PastLives(
        position=lives.position[kept],
        type=lives.type[kept],
        fitted_day=lives.fitted_day[kept],
        removed_day=lives.removed_day[kept],
        life_h=duty.life_h[kept],
        at_limit=ends[kept] == LifeEnd.AT_LIMIT,
        is_late=is_late[kept],
        reason=tuple(lives.reason[row] for row in kept.tolist()),
    )


def follow(columns: PlantColumns, duty: Duty, lives: PastLives, steps: Sequence[Seen]) -> list[Followed]:
    """For each life (L,) the steps at which what was known to be fitted was this very element."""
    as_of_day = np.array([seen.as_of_day for seen in steps])
    fitted_day = np.array([seen.fitted_day for seen in steps]).reshape(len(steps), -1)
    found = []
    for position, fitted, removed in zip(lives.position, lives.fitted_day, lives.removed_day, strict=True):
        within = (as_of_day > fitted) & (as_of_day < removed)
        known = np.abs(fitted_day[:, position] - fitted) <= _SAME_FITTING_D
        step = np.flatnonzero(within & known)
        run_h = run_hours_on(columns, duty, int(position), float(fitted), as_of_day[step])
        found.append(Followed(step, run_h))
    return found


def asked_at_ages(lives: PastLives, followed: Sequence[Followed], steps: Sequence[Seen]) -> Asked:
    """At `ASKED_AT_SHARE` of the life that came: the last step by then, where one is near."""
    rows = []
    for life, at in enumerate(followed):
        share = at.run_h / lives.life_h[life]
        for age, asked in enumerate(ASKED_AT_SHARE):
            last = int(np.searchsorted(share, asked, side="right")) - 1
            if last >= 0 and asked - share[last] <= _NEAREST_SHARE:
                rows.append((life, last, age))
    return _asked(rows, lives, followed, steps)


def asked_as_expected(lives: PastLives, followed: Sequence[Followed], steps: Sequence[Seen]) -> Asked:
    """At `EXPECTED_SHARE` of the life that the first forecast led to expect: the first step from then on."""
    rows = []
    for life, at in enumerate(followed):
        if not len(at.step):
            continue
        first = steps[int(at.step[0])]
        expected_h = at.run_h[0] + first.hours_left[lives.position[life], MEDIAN]
        for age, share in enumerate(EXPECTED_SHARE):
            place = int(np.searchsorted(at.run_h, share * expected_h))
            if place < len(at.step) and (place > 0 or at.run_h[0] <= (share + _NEAREST_SHARE) * expected_h):
                rows.append((life, place, age))
    return _asked(rows, lives, followed, steps)


def replayed_change_h(
    columns: PlantColumns, duty: Duty, lives: PastLives, followed: Sequence[Followed], steps: Sequence[Seen]
) -> Floats:
    """Run hours (L,) at which whoever kept to the due dates would have changed each life; infinite: not before.

    At each step it is planned what falls due before the next: the change comes on the due day, or at once where that
    has passed.
    """
    change_h = np.full(len(lives), np.inf)
    for life, at in enumerate(followed):
        position = int(lives.position[life])
        for step in at.step.tolist():
            now = steps[step].as_of_day
            next_day = steps[step + 1].as_of_day if step + 1 < len(steps) else now
            due = float(steps[step].due_day[position])
            if due < next_day or due <= now:
                day = max(due, now)
                if day < lives.removed_day[life]:
                    since = float(lives.fitted_day[life])
                    at_h = run_hours_on(columns, duty, position, since, np.array([day]))[0]
                    change_h[life] = max(float(at_h), 1.0)
                break
    return change_h


def _asked(
    rows: list[tuple[int, int, int]], lives: PastLives, followed: Sequence[Followed], steps: Sequence[Seen]
) -> Asked:
    life, place, age = (np.array(rows, dtype=np.intp).reshape(-1, 3)[:, part] for part in range(3))
    step = np.array([followed[one].step[at] for one, at in zip(life, place, strict=True)], dtype=np.intp)
    run_h = np.array([followed[one].run_h[at] for one, at in zip(life, place, strict=True)], dtype=np.float64)
    position, life_h = lives.position[life], lives.life_h[life]
    hours_left = [steps[at].hours_left[of] for at, of in zip(step, position, strict=True)]
    width = steps[0].hours_left.shape[1] if len(steps) else 0
    outcomes = Outcomes(
        np.array(hours_left, dtype=np.float64).reshape(-1, width),
        np.maximum(life_h - run_h, 0.0),
        life_h,
        lives.at_limit[life],
        life,
    )
    is_read = np.array([steps[at].is_read[of] for at, of in zip(step, position, strict=True)], dtype=bool)
    told = np.asarray(~np.any(np.isnan(outcomes.hours_left), axis=1))
    return Asked(life, step, age, is_read, outcomes).of(told)
