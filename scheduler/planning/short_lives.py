"""Lives that run short at one place: two after the other that ended at their limit far sooner than is usual there.

Usual is what all the other lives say (`pooled_life_prior`, without the lives that are asked about: the prior of the
pass has learned them already). Of two lives the first is held against that, the second against what is then
expected after the first, so that under chance alone both probabilities are independent, and Fisher's method joins
them. The second may be the running one, where its ΔP says that it will end early.

More dirt comes in where the other filters of the system run short as well or its counts went up; an element is too
small for what it gets where its flow is above what its type is rated for.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from scheduler.planning.condition import Condition
from scheduler.planning.contamination import Contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.lives import ended_at_limit, first_guess, ordinary_lives
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.combined_chances import fisher_combined
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd, LifeSpread, Lives, pool_lives
from scheduler.vocabulary import RemovalReason, Severity, TaskKind

EACH_BELOW, TOGETHER_BELOW = 0.1, 0.01
"""P(a life is so short) of each of the two, and of both by Fisher's method (ours, by
tests/measure/system_faults.py)."""

SHORT_SHARE = 0.65
"""Of the usual life at most: dirt comes unevenly, and lives a third shorter are no finding, be they ever so surely
shorter (ours, as above)."""

LOOKED_AT_SHARE = 0.75
"""A pass pools lives only where both lasted less than this share of the longest before them, or of the longest of
the type where none was before (ours)."""

OUTLIVED_SHARE = 1.25
"""The finding is dropped once the running element has lasted so many times the longer of the two (ours)."""

NEAR_LIMIT_SHARE = 0.4
"""A change told as due counts as one at the limit where the last ΔP as read stood at so much of it (ours)."""

RUNNING_QUANTILE = 0.9
"""The running life is taken as long as its forecast allows at this chance (ours)."""

OTHERS_BELOW, RISEN_LOG, RISEN_PROBABILITY = 0.2, float(np.log(1.5)), 0.8
FLOW_SHARE = 1.1
"""What tells the causes apart: other filters' newest life so short, counts up by half, flow above rated (ours)."""

RUNNING_LOAD = 0.5
"""By its ΔP the running element must hold so much of its load, or the lives before still speak for it (ours)."""

MOST_OF_A_TYPE = 40
"""Of other positions the newest lives of a type: more tell a type's mean no better than it is needed (ours)."""

LEAST_WITHIN_LOG_SD = 0.15
"""Of a life's own: what a pass has learned of it from ΔP is the least that two lives may differ by (ours)."""

_ROUNDS, _SPREADS_AS_KNOWN = 4, 1e6
_NEEDS_READINGS, _LAST = 3, 3


@dataclass(frozen=True, slots=True)
class _Pair:
    """Rows of the lives; `second` −1: the running one, taken to last `second_h` at most."""

    position: int
    first: int
    second: int
    first_h: float
    second_h: float


def short_lives(
    columns: PlantColumns, duty: Duty, condition: Condition, contamination: Contamination
) -> list[Diagnosis]:
    """Of every position in service."""
    lives = columns.lives
    if not len(lives.position):
        return []
    ordinary = np.flatnonzero(ordinary_lives(columns, duty))
    order = ordinary[np.lexsort((lives.removed_day[ordinary], lives.position[ordinary]))]
    start = np.searchsorted(lives.position[order], np.arange(len(columns.positions.code) + 1))
    seen = _Seen(columns, duty, order, start, ended_at_limit(columns, duty))
    pairs = _pairs(seen, condition)
    if not pairs:
        return []
    usual = _usual_without(seen, condition, pairs)
    found: dict[int, Diagnosis] = {}
    for pair in pairs:
        for each in _judged(seen, contamination, pair, usual):
            found.setdefault(pair.position, each)
    return list(found.values())


@dataclass(frozen=True, slots=True)
class _Seen:
    """order: rows of ordinary lives, by position (from its `start`) and removal. at_limit (L,): so it was told."""

    columns: PlantColumns
    duty: Duty
    order: Ints
    start: Ints
    at_limit: Flags

    def of_position(self, position: int) -> list[int]:
        own: list[int] = self.order[self.start[position] : self.start[position + 1]].tolist()
        return own


@dataclass(frozen=True, slots=True)
class _Usual:
    """Of each position that is asked about: ln life without the newest ones, its spread, and that of one life's
    own."""

    log_h: dict[int, float]
    log_sd: dict[int, float]
    within_log_sd: float


def _pairs(seen: _Seen, condition: Condition) -> list[_Pair]:
    """Lives that are worth pooling the others for."""
    columns, life_h = seen.columns, seen.duty.life_h
    longest_of_type = np.zeros(len(columns.types.part_number))
    np.maximum.at(longest_of_type, columns.lives.type[seen.order], life_h[seen.order])
    running_h = _running_at_most_h(seen.duty, condition)
    asked = np.flatnonzero(columns.in_service() & (np.diff(seen.start) > 0))
    found = []
    for position in asked[seen.at_limit[seen.order[seen.start[asked + 1] - 1]]].tolist():
        own = seen.of_position(position)
        for pair in _pairs_of(seen, position, own, float(running_h[position])):
            before = own[: -1 if pair.second < 0 else -2]
            longest_h = longest_of_type[columns.lives.type[pair.first]]
            ended = [row for row in (pair.first, pair.second) if row >= 0]
            if _looks_short(pair, before, life_h, longest_h) and all(_was_at_limit(columns, row) for row in ended):
                found.append(pair)
    return found


def _pairs_of(seen: _Seen, position: int, own: list[int], running_h: float) -> Iterator[_Pair]:
    """The two newest lives that ended, unless what runs has outlived them; the newest and what runs."""
    life_h, lives, run_h = seen.duty.life_h, seen.columns.lives, float(seen.duty.run_h[position])
    newest_h = float(life_h[own[-1]])
    if len(own) > 1 and seen.at_limit[own[-2]]:
        first_h = float(life_h[own[-2]])
        if not run_h > OUTLIVED_SHARE * max(first_h, newest_h):
            yield _Pair(position, own[-2], own[-1], first_h, newest_h)
    if lives.type[own[-1]] == seen.columns.fitted.type[position] and running_h < np.inf:
        yield _Pair(position, own[-1], -1, newest_h, running_h)


def _looks_short(pair: _Pair, before: list[int], life_h: Floats, longest_of_type_h: float) -> bool:
    longest_h = float(life_h[before].max()) if before else float(longest_of_type_h)
    return max(pair.first_h, pair.second_h) < LOOKED_AT_SHARE * longest_h


def _running_at_most_h(duty: Duty, condition: Condition) -> Floats:
    """Hours that the running life of each position lasts at most by its ΔP; infinite where ΔP does not tell."""
    found = np.full(len(duty.run_h), np.inf)
    if condition.pressure is not None:
        rows = np.flatnonzero(condition.has_forecast)
        left_h = condition.remaining.at(rows).quantile(RUNNING_QUANTILE)
        risen = condition.pressure.evidence.load_share[condition.row_of[rows]] >= RUNNING_LOAD
        found[rows] = np.where(risen, duty.run_h[rows] + left_h, np.inf)
    return found


def _was_at_limit(columns: PlantColumns, life: int) -> bool:
    """Whether a change told as due was made with the last ΔP, as read, near the limit; where none was read, it is
    believed."""
    if columns.lives.reason[life] is not RemovalReason.DUE:
        return True
    rows = slice(int(columns.life_dp.offsets[life]), int(columns.life_dp.offsets[life + 1]))
    dp = columns.life_dp.dp_bar[rows]  # the highest of the last ones: a knee is steep
    last = dp[~np.isnan(dp)][-_LAST:]
    terminal = float(columns.positions.terminal_dp_bar[columns.lives.position[life]])
    return not len(last) or np.isnan(terminal) or float(np.max(last)) >= NEAR_LIMIT_SHARE * terminal


def _usual_without(seen: _Seen, condition: Condition, pairs: list[_Pair]) -> _Usual:
    """What is usual at the positions of the pairs and at those beside them, by all lives but the newest there."""
    columns, lives = seen.columns, seen.columns.lives
    mine = {row for pair in pairs for row in (pair.first, pair.second) if row >= 0}
    systems = {int(columns.positions.system[pair.position]) for pair in pairs}
    beside = np.flatnonzero(np.isin(columns.positions.system, list(systems))).tolist()
    own = {position: seen.of_position(position) for position in beside}
    asked = {pair.position: pair.first for pair in reversed(pairs)}
    asked |= {position: rows[-1] for position, rows in own.items() if rows and position not in asked}
    kept = _kept(seen, own, mine | set(asked.values()))
    position, kind = np.array(list(asked)), lives.type[list(asked.values())]
    guess, nothing = first_guess(columns), np.full(len(kept), np.nan)
    known, usual = condition.life, LifeSpread()
    within = max(known.within_log_sd, LEAST_WITHIN_LOG_SD) if known.within_log_sd > 0.0 else usual.within_log_sd
    between = known.between_log_sd if known.between_log_sd > 0.0 else usual.between_log_sd
    pooled = pool_lives(
        Lives(
            life_h=seen.duty.life_h[kept],
            end=np.where(seen.at_limit[kept], LifeEnd.AT_LIMIT, LifeEnd.EARLY).astype(np.int64),
            where=_alone(lives.type[kept], lives.position[kept]),
            read_mean=nothing,
            read_var=nothing,
        ),
        _alone(kind, position),
        FirstGuess(guess.log_h[position], guess.log_sd[position]),
        np.full(len(position), -1),
        LifeSpread(within, between, worth_lives=_SPREADS_AS_KNOWN),
        systems=False,
        most_rounds=_ROUNDS,
    ).next_life
    return _Usual(
        dict(zip(asked, pooled.log_median.tolist(), strict=True)),
        dict(zip(asked, pooled.log_sd.tolist(), strict=True)),
        pooled.within_log_sd,
    )


def _kept(seen: _Seen, own: dict[int, list[int]], left_out: set[int]) -> Ints:
    """All lives of those positions, and of each of their types the newest of other positions, less those left
    out."""
    lives = seen.columns.lives
    kept = {row for rows in own.values() for row in rows}
    newest = seen.order[np.argsort(-lives.removed_day[seen.order], kind="stable")]
    for kind in np.unique(lives.type[list(kept)]).tolist():
        kept |= set(newest[lives.type[newest] == kind][:MOST_OF_A_TYPE].tolist())
    return np.array(sorted(kept - left_out), dtype=np.intp)


def _alone(kind: Ints, position: Ints) -> Where:
    """Each position for itself: what systems have in common is no part of what is usual here."""
    at = position.astype(np.int64)
    return Where(kind.astype(np.int64), at, at, np.zeros(len(at)))


def _judged(seen: _Seen, contamination: Contamination, pair: _Pair, usual: _Usual) -> Iterator[Diagnosis]:
    columns = seen.columns
    chances = _chances(pair, usual)
    together = float(fisher_combined(chances))
    longer_h = max(pair.first_h, pair.second_h)
    if (
        max(chances) >= EACH_BELOW
        or together >= TOGETHER_BELOW
        or longer_h > SHORT_SHARE * np.exp(usual.log_h[pair.position])
    ):
        return
    newest = pair.first if pair.second < 0 else pair.second
    ended_day = float(columns.lives.removed_day[newest])
    position = pair.position
    yield Diagnosis(
        int(columns.positions.system[position]),
        position,
        "lives-run-short",
        Severity.SOON,
        {
            "lives_h": [round(pair.first_h), round(pair.second_h)],
            "second_runs": pair.second < 0,
            "usual_h": round(float(np.exp(usual.log_h[position]))),
            "usual_10_h": round(float(np.exp(usual.log_h[position] - 1.2816 * usual.log_sd[position]))),
            "chance": float(f"{together:.2g}"),
            **_cause(seen, contamination, pair, usual),
        },
        TaskKind.INSPECT,
        since_day=ended_day,
    )


def _chances(pair: _Pair, usual: _Usual) -> tuple[float, float]:
    """P(so short) of the first life, and of the second given the first (normal logarithms)."""
    log_h, log_sd, within = usual.log_h[pair.position], usual.log_sd[pair.position], usual.within_log_sd
    shared_var = max(log_sd**2 - within**2, 0.0)
    off = float(np.log(pair.first_h)) - log_h
    then = log_h + shared_var / log_sd**2 * off
    then_sd = float(np.sqrt(within**2 + shared_var * within**2 / log_sd**2))
    return float(ndtr(off / log_sd)), float(ndtr((np.log(max(pair.second_h, 1.0)) - then) / then_sd))


def _cause(seen: _Seen, contamination: Contamination, pair: _Pair, usual: _Usual) -> dict[str, Any]:
    """What speaks for more dirt, and what for an element that is too small; numbers None where nothing is known."""
    columns, lives = seen.columns, seen.columns.lives
    system, position = int(columns.positions.system[pair.position]), pair.position
    since_day = float(lives.fitted_day[pair.first])
    others, short = 0, 0
    for other in np.flatnonzero(columns.positions.system == system).tolist():
        own = seen.of_position(other) if other != position and other in usual.log_h else []
        if own and lives.removed_day[own[-1]] > since_day:
            off = (np.log(seen.duty.life_h[own[-1]]) - usual.log_h[other]) / usual.log_sd[other]
            tells = seen.at_limit[own[-1]] or ndtr(off) > OTHERS_BELOW
            others += tells
            short += tells and ndtr(off) <= OTHERS_BELOW
    risen = float(contamination.change.rise_probability(RISEN_LOG)[system])
    flow_share = _flow_share(columns, position)
    if risen >= RISEN_PROBABILITY or (others and 2 * short >= others):
        cause = "more_dirt"
    elif flow_share is not None and flow_share >= FLOW_SHARE:
        cause = "too_small"
    elif others:
        cause = "here_only"
    else:
        cause = "not_told"
    return {
        "cause": cause,
        "others": int(others),
        "others_short": int(short),
        "counts_risen": None if np.isnan(risen) else round(risen, 3),
        "flow_share": flow_share,
    }


def _flow_share(columns: PlantColumns, position: int) -> float | None:
    """The flow, as read or else as stated, over what the elements of the position are rated for."""
    rows = slice(int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1]))
    flow = columns.dp.flow_lpm[rows]
    flow = flow[flow > 0.0]
    lpm = float(np.median(flow)) if len(flow) >= _NEEDS_READINGS else float(columns.positions.flow_lpm[position])
    kind = int(columns.fitted.type[position])
    if kind < 0:
        return None
    rated = float(columns.types.rated_flow_lpm[kind]) * int(columns.positions.quantity[position])
    return None if np.isnan(lpm / rated) else round(lpm / rated, 2)
