"""The balance of each system's oil: what is cleaned, what comes in, since when it changed, and what the cause may be.

Counts of the reservoir are split into the newest few and those before, where they differ most; that split is
`since_day`. The element that is looked at for a cause is the one that ΔP readings say oil goes round, else one with
samples behind it, else the one that cleans most.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from scheduler.engineering.clean_up import ML_PER_L
from scheduler.engineering.contamination_balance import BETA_IN_SERVICE_LOG_SD
from scheduler.planning.cleanliness import sample_bounds
from scheduler.planning.condition import Condition
from scheduler.planning.count_history import CountHistory, Passed, count_history, newest_passed, passed_by_element
from scheduler.planning.duty import Duty
from scheduler.planning.load_change import LoadChange, flow_change, load_change
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.planning.system_filters import SystemFilters, system_filters
from scheduler.statistics.contamination_causes import CAUSES, Cause, Evidence, cause_probability
from scheduler.statistics.count_levels import Line, count_step, count_trend

FEWEST_BEFORE, MOST_BEFORE, MOST_RECENT = 3, 10, 5
"""Samples before a change, and at most since: a change that is older is what is usual by now (ours)."""

WORTH_A_LOOK_Z = 2.0
"""Below this no diagnosis is made of the counts, and a pass spares itself the ΔP (ours)."""


LETS_THROUGH_BETA = 8.0
"""An element whose newest pair of samples shows more than this is not accused, and a pass looks no further (ours)."""

CHANGED_Z, PAIRS_COUNT_FOR_D = 2.0, 180.0
"""Where the counts have not surely changed, samples behind the element count for half a year (ours)."""


@dataclass(frozen=True, slots=True)
class Change:
    """The step of ln N from the samples before to the newest `recent`, (S,) each; NaN and 0 where there are too
    few.
    """

    log_before: Floats
    log_step: Floats
    log_sd: Floats
    since_day: Floats
    recent: np.ndarray[tuple[int, ...], np.dtype[np.intp]]

    def rise_probability(self, above: float = 0.0) -> Floats:
        """P(the counts have risen by more than a factor e^above), NaN where nothing is known."""
        return np.asarray(ndtr((self.log_step - above) / self.log_sd))


@dataclass(frozen=True, slots=True)
class CauseFound:
    """Of one element looked at: P of each cause, and what was looked at; None where that is missing."""

    position: int
    probability: Mapping[Cause, float]
    load: LoadChange | None
    passed: Passed | None
    goes_round: bool
    filter_share: float

    @property
    def likeliest(self) -> Cause:
        return max(self.probability, key=lambda cause: self.probability[cause])

    @property
    def missing(self) -> tuple[str, ...]:
        """What would tell more: words of ours, for the wire."""
        return tuple(
            name
            for name, known in (
                ("load_rate_by_dp", self.load is not None),
                ("sample_downstream", self.passed is not None),
            )
            if not known
        )


@dataclass(frozen=True, slots=True)
class Contamination:
    """Of every system; `level` is the line through all of its samples: on the day of the last, and a year."""

    filters: SystemFilters
    history: CountHistory
    level: Line
    change: Change
    causes: Mapping[int, CauseFound]

    def cleaned_lpm(self) -> Floats:
        """E (S,) at each system's counted size."""
        systems = len(self.history.size)
        return self.filters.cleaned_by_system_lpm(systems)[np.arange(systems), self.history.size]

    def ingression_per_min(self) -> tuple[Floats, Floats]:
        """R by the newest samples, and the deviation of its logarithm, (S,) each: N is at R/E within hours."""
        told = ~np.isnan(self.change.log_step)
        level = np.where(told, self.change.log_before + self.change.log_step, self.level.level)
        level_sd = np.where(told, self.change.log_sd, self.level.level_sd)
        return ML_PER_L * self.cleaned_lpm() * np.exp(level), np.hypot(level_sd, BETA_IN_SERVICE_LOG_SD)


def assess_contamination(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    goes_round: frozenset[int],
    *,
    dirty: frozenset[int] = frozenset(),
    every_cause: bool = False,
) -> Contamination:
    """The balance of every system. `goes_round`: positions past whose element oil goes by their ΔP.

    Causes are weighed where the counts have risen, samples behind an element show little difference, or the oil is
    known to be `dirty`; `every_cause` weighs all.
    """
    filters, history = system_filters(columns, duty), count_history(columns)
    level = count_trend(history.day - history.last_day()[:, None], history.low_per_mL, history.high_per_mL, 0.0)
    change = newest_change(history)
    pairs = passed_by_element(columns, *sample_bounds(columns.oil_samples))
    rose = change.log_step > WORTH_A_LOOK_Z * change.log_sd
    look_at: dict[int, int] = {}
    for system in np.flatnonzero(columns.systems_ready() & ~np.isnan(change.log_step)).tolist():
        position = _looked_at(filters, system, pairs, goes_round, int(history.size[system]))
        lets_through = position in pairs and pairs[position][-1].log_passed > -np.log(LETS_THROUGH_BETA)
        if position >= 0 and (
            every_cause or system in dirty or rose[system] or lets_through or position in goes_round
        ):
            look_at[system] = position
    causes = _causes(columns, duty, condition, _Seen(filters, history, change, pairs, goes_round), look_at)
    return Contamination(filters, history, level, change, causes)


def newest_change(history: CountHistory) -> Change:
    """The split of each system's samples at which the newest stand out most, up or down."""
    systems = len(history.count)
    nothing = np.full(systems, np.nan)
    found = Change(nothing.copy(), nothing.copy(), nothing.copy(), nothing, np.zeros(systems, dtype=np.intp))
    best = np.zeros(systems)
    place = np.arange(history.day.shape[1])[None, :]
    for recent in range(1, MOST_RECENT + 1):
        rows = np.flatnonzero(history.count - recent >= FEWEST_BEFORE)
        if not len(rows):
            break
        first = (history.count[rows] - recent)[:, None]
        is_recent = (place >= first) & (place < history.count[rows][:, None])
        day = history.day[rows]
        is_before = (place < first) & (place >= first - MOST_BEFORE)
        middle = [np.nanmean(np.where(part, day, np.nan), axis=1) for part in (is_recent, is_before)]
        low, high = (
            np.where(is_recent | is_before, bound[rows], np.nan)
            for bound in (history.low_per_mL, history.high_per_mL)
        )
        step = count_step(low, high, is_recent, middle[0] - middle[1])
        z = np.abs(step.change) / step.change_sd
        better = (z > best[rows]) | (found.recent[rows] == 0)
        chosen, flat = rows[better], first[:, 0]
        best[chosen] = z[better]
        found.log_before[chosen] = step.level[better]
        found.log_step[chosen], found.log_sd[chosen] = step.change[better], step.change_sd[better]
        between = 0.5 * (day[np.arange(len(rows)), flat - 1] + day[np.arange(len(rows)), flat])
        found.since_day[chosen], found.recent[chosen] = between[better], recent
    return found


@dataclass(frozen=True, slots=True)
class _Seen:
    filters: SystemFilters
    history: CountHistory
    change: Change
    pairs: Mapping[int, list[Passed]]
    goes_round: frozenset[int]


def _looked_at(
    filters: SystemFilters, system: int, pairs: Mapping[int, list[Passed]], goes_round: frozenset[int], size: int
) -> int:
    mine = filters.of_system(system)
    if not len(mine):
        return -1
    cleaned = np.nan_to_num(filters.cleaned_lpm[mine, size])
    position = filters.position[mine]
    told = np.array([2 * (each in goes_round) + (each in pairs) for each in position.tolist()])
    return int(position[np.lexsort((cleaned, told))[-1]])


def _causes(
    columns: PlantColumns, duty: Duty, condition: Condition, seen: _Seen, look_at: dict[int, int]
) -> dict[int, CauseFound]:
    if not look_at:
        return {}
    systems, position = np.array(list(look_at)), np.array(list(look_at.values()))
    since_day = seen.change.since_day[systems]
    loads = [
        load_change(columns, duty, condition, at, float(since))
        for at, since in zip(position.tolist(), since_day.tolist(), strict=True)
    ]
    changed = np.abs(seen.change.log_step[systems]) > CHANGED_Z * seen.change.log_sd[systems]
    pairs_since = np.where(changed, since_day, columns.as_of_day - PAIRS_COUNT_FOR_D).tolist()
    passed = [
        newest_passed(seen.pairs.get(at, []), since) for at, since in zip(position.tolist(), pairs_since, strict=True)
    ]
    row_of = {int(each): row for row, each in enumerate(seen.filters.position)}
    rows = np.array([row_of[at] for at in position.tolist()])
    size = np.array(
        [int(seen.history.size[s]) if p is None else p.size for s, p in zip(systems, passed, strict=True)]
    )
    cleaned, whole = (
        seen.filters.cleaned_lpm[rows, size],
        seen.filters.cleaned_by_system_lpm(len(columns.systems.code)),
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip(np.nan_to_num(cleaned / whole[systems, size], nan=1.0), 0.0, 1.0)
    goes_round = np.array([at in seen.goes_round for at in position.tolist()], dtype=bool)
    chance = cause_probability(
        Evidence(
            log_count_ratio=seen.change.log_step[systems],
            log_count_sd=seen.change.log_sd[systems],
            log_load_ratio=_told([None if each is None else each.log_ratio for each in loads]),
            log_load_sd=_told([None if each is None else each.log_sd for each in loads]),
            log_fell_odds=np.array([0.0 if each is None else each.log_fell_odds for each in loads]),
            log_passed=_told([None if each is None else each.log_passed for each in passed]),
            log_passed_sd=_told([None if each is None else each.log_sd for each in passed]),
            log_flow_ratio=_told(
                [
                    flow_change(columns, at, since)
                    for at, since in zip(position.tolist(), since_day.tolist(), strict=True)
                ]
            ),
            filter_share=share,
            beta=seen.filters.beta[rows, size],
            goes_round=goes_round,
            has_dp=condition.has_forecast[position] | goes_round,
        )
    )
    return {
        int(system): CauseFound(
            int(position[row]),
            dict(zip(CAUSES, chance[row].tolist(), strict=True)),
            *(loads[row], passed[row], bool(goes_round[row]), float(share[row])),
        )
        for row, system in enumerate(systems)
    }


def _told(values: list[float | None]) -> Floats:
    return np.array([np.nan if each is None else each for each in values], dtype=np.float64)
