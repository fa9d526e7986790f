"""Is the oil as clean as its system needs it, what to do where it is not, and does the cause sit in an element.

A target is missed by the last 3 to 5 samples together; one bad sample asks for another. Dirty oil by itself makes
no element due: dirt may come in faster than before. Only where samples before and after an element, taken on one
visit, hardly differ does the cause point to that element, and at most one of a system becomes due.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from scheduler.engineering.cleanliness_code import Code, ScaleNumber, SIZES_um_c, count_limits_per_mL, scale_number
from scheduler.engineering.cleanliness_target import typical_target
from scheduler.planning.plant_columns import Floats, OilSampleRows, PlantColumns
from scheduler.statistics.cleanliness_evidence import (
    MISSED_PROBABILITY,
    Evidence,
    Judged,
    bounds_of_counts,
    bounds_of_numbers,
    judge,
    nothing_held_back_probability,
)
from scheduler.vocabulary import EventKind, Place, SamplePoint

STARTS_AFRESH = frozenset({EventKind.OIL_CHANGE, EventKind.FLUSHED, EventKind.REPAIR, EventKind.COMMISSIONED})
"""What makes earlier samples speak of other oil."""

SETTLED_D = 0.5
"""A sample counts from half a day after a change: the oil has gone round by then, and a bare date stands for noon,
so that its day cannot be mistaken (ours)."""

ONE_VISIT_D = 0.5
"""Samples before and after an element, taken within half a day, belong together (ours)."""

BETA_THAT_TELLS = 10.0
"""Only of an element that should hold back at least nine particles in ten is a ratio near 1 a loss (ours)."""

_HOLDS_NO_OIL = frozenset({Place.BREATHER, Place.FILLER})


class Verdict(StrEnum):
    NO_TARGET = "no_target"
    TOO_FEW = "too_few"
    MET = "met"
    ONE_BAD = "one_bad"
    MISSED = "missed"


class Ask(StrEnum):
    """The work a verdict asks for; each value is that of a `TaskKind`."""

    TAKE_SAMPLE = "take_sample"
    INSPECT = "inspect"


@dataclass(frozen=True, slots=True)
class Target:
    code: Code
    is_typical: bool
    """Of the typical published table, since the plant states none."""


@dataclass(frozen=True, slots=True)
class SystemCleanliness:
    """What the samples say of one system. `position` −1: the cause points to no element.

    `since_day` is that of the newest sample that counts, −∞ without one. `facts` are plain numbers and texts.
    """

    system: int
    verdict: Verdict
    asks_for: Ask | None
    position: int
    since_day: float
    facts: dict[str, Any]


def assess_cleanliness(columns: PlantColumns, goes_round: frozenset[int] = frozenset()) -> list[SystemCleanliness]:
    """The verdict of every system in service or on standby.

    `goes_round`: positions past whose element the oil is known to go; equal counts are no fault of that element.
    """
    seen = _Seen(
        columns, columns.oil_samples, goes_round, _fresh_starts(columns), *sample_bounds(columns.oil_samples)
    )
    systems = [int(system) for system in np.flatnonzero(columns.systems_ready())]
    wanted = {system: _target_of(columns, system) for system in systems}
    judged = _judge_all(seen, {system: target for system, target in wanted.items() if target is not None})
    return [judged.get(system) or _without_target(columns, system) for system in systems]


@dataclass(frozen=True, slots=True)
class _Seen:
    columns: PlantColumns
    samples: OilSampleRows
    goes_round: frozenset[int]
    fresh: dict[int, tuple[float, EventKind]]
    low_per_mL: Floats
    high_per_mL: Floats


def sample_bounds(samples: OilSampleRows) -> tuple[Floats, Floats]:
    """Bounds (samples, 3) of the counts per mL; a count stands before the code that was made of it."""
    numbers = [(None, None, None) if code is None else code.numbers for code in samples.code]
    value = np.array([[-1 if each is None else each.value for each in row] for row in numbers], dtype=np.intp)
    at_least = np.array([[each is not None and each.at_least for each in row] for row in numbers], dtype=bool)
    low, high = bounds_of_numbers(value.reshape(-1, 3), at_least.reshape(-1, 3))
    counted_low, counted_high = bounds_of_counts(samples.count_per_mL)
    uncounted = np.isnan(samples.count_per_mL)
    return np.where(uncounted, low, counted_low), np.where(uncounted, high, counted_high)


def _target_of(columns: PlantColumns, system: int) -> Target | None:
    stated = columns.systems.cleanliness_target[system]
    if stated is not None:
        return Target(stated, is_typical=False)
    family = columns.systems.fluid[system].family
    typical = typical_target(
        columns.systems.most_sensitive[system], float(columns.systems.working_pressure_bar[system]), family
    )
    return None if typical is None else Target(typical, is_typical=True)


def _without_target(columns: PlantColumns, system: int) -> SystemCleanliness:
    pressure_bar = float(columns.systems.working_pressure_bar[system])
    facts = {
        "most_sensitive": columns.systems.most_sensitive[system],
        "working_pressure_bar": None if np.isnan(pressure_bar) else pressure_bar,
    }
    return SystemCleanliness(system, Verdict.NO_TARGET, None, -1, -np.inf, facts)


def _judge_all(seen: _Seen, targets: dict[int, Target]) -> dict[int, SystemCleanliness]:
    rows = _rows_that_count(seen)
    longest = max((len(rows[system]) for system in targets), default=0)
    low, high = (np.full((len(targets), 3, longest), np.nan) for _ in range(2))
    limit = np.ones((len(targets), 3))
    for place, (system, target) in enumerate(targets.items()):
        for size, number in enumerate(target.code.numbers):
            if number is not None:
                low[place, size, : len(rows[system])] = seen.low_per_mL[rows[system], size]
                high[place, size, : len(rows[system])] = seen.high_per_mL[rows[system], size]
                limit[place, size] = count_limits_per_mL(number.value)[1]
    every = (3 * len(targets), longest)
    judged = judge(low.reshape(every), high.reshape(every), limit.reshape(-1))
    return {
        system: _conclude(seen, system, target, rows[system], judged.of_rows(slice(3 * place, 3 * place + 3)))
        for place, (system, target) in enumerate(targets.items())
    }


def _rows_that_count(seen: _Seen) -> dict[int, list[int]]:
    """Of every system the rows, by day, that speak of its present oil.

    The reservoir's; a system without any takes those before its elements. Oil behind an element flatters.
    """
    fresh_day = {system: day for system, (day, _) in seen.fresh.items()}
    by_point: dict[SamplePoint, dict[int, list[int]]] = {point: {} for point in SamplePoint}
    counted = np.sum(~np.isnan(seen.low_per_mL), axis=1) > 0
    for row in np.argsort(seen.samples.day, kind="stable").tolist():
        system = int(seen.samples.system[row])
        if counted[row] and seen.samples.day[row] >= fresh_day.get(system, -np.inf) + SETTLED_D:
            by_point[seen.samples.point[row]].setdefault(system, []).append(row)
    reservoir, upstream = by_point[SamplePoint.RESERVOIR], by_point[SamplePoint.UPSTREAM]
    return {
        system: reservoir.get(system) or _one_a_visit(seen.samples, upstream.get(system, []))
        for system in range(len(seen.columns.systems.code))
    }


def _one_a_visit(samples: OilSampleRows, rows: list[int]) -> list[int]:
    kept: list[int] = []
    for row in rows:
        if not kept or samples.day[row] - samples.day[kept[-1]] > ONE_VISIT_D:
            kept.append(row)
    return kept


def _fresh_starts(columns: PlantColumns) -> dict[int, tuple[float, EventKind]]:
    """When each system's oil last started afresh, and by what."""
    latest: dict[int, tuple[float, EventKind]] = {}
    for row in np.argsort(columns.events.day, kind="stable").tolist():
        if columns.events.kind[row] in STARTS_AFRESH:
            latest[int(columns.events.system[row])] = (float(columns.events.day[row]), columns.events.kind[row])
    return latest


def _conclude(seen: _Seen, system: int, target: Target, rows: list[int], judged: Judged) -> SystemCleanliness:
    """`judged` holds the three sizes of this system."""
    evidence = Evidence(int(judged.evidence.max()))
    verdict = Verdict.TOO_FEW if evidence is Evidence.NOT_COUNTED else Verdict[evidence.name]
    since_day = float(seen.samples.day[rows[-1]]) if rows else -np.inf
    facts: dict[str, Any] = {"target": str(target.code), "target_is_typical": target.is_typical}
    facts |= {"counted": judged.counted.tolist()}
    if system in seen.fresh:
        day, kind = seen.fresh[system]
        facts |= {"fresh_since_day": day, "fresh_by": kind.value}
    if rows:
        facts |= _sample_facts(seen, target, rows, judged)
    if verdict is not Verdict.MISSED:
        resample = Ask.TAKE_SAMPLE if verdict is Verdict.ONE_BAD else None
        return SystemCleanliness(system, verdict, resample, -1, since_day, facts)
    filtering = _filtering(seen.columns, system)
    grips = [grip for position in filtering if (grip := _grip_of(seen, position)) is not None]
    facts["elements"] = [grip.facts for grip in grips]
    lost = max((grip for grip in grips if grip.is_lost), key=lambda grip: grip.lost_probability, default=None)
    if lost is not None:
        return SystemCleanliness(system, verdict, None, lost.position, since_day, facts)
    borne_out = bool(np.any(judged.newest_above & (judged.evidence == Evidence.MISSED)))
    changed_day = max((float(seen.columns.fitted.fitted_day[each]) for each in filtering), default=-np.inf)
    if changed_day > since_day:
        facts["changed_since_day"] = changed_day
    # whether a new element helped, or the oil has come back by itself, only another sample can say
    asks_for = Ask.INSPECT if borne_out and changed_day <= since_day else Ask.TAKE_SAMPLE
    return SystemCleanliness(system, verdict, asks_for, -1, since_day, facts | {"newest_above": borne_out})


def _sample_facts(seen: _Seen, target: Target, rows: list[int], judged: Judged) -> dict[str, Any]:
    """Of the size that decides: the one furthest into the verdict, then the one most likely above its limit."""
    chance = np.where(judged.evidence == judged.evidence.max(), np.nan_to_num(judged.probability, nan=-1.0), -2.0)
    size = int(chance.argmax())
    number = target.code.numbers[size]
    used = [row for row in rows if not np.isnan(seen.low_per_mL[row, size])][-int(judged.used[size]) :]
    if number is None or not used:
        return {}
    return {
        "size_um_c": SIZES_um_c[size],
        "number": number.value,
        "limit_per_mL": count_limits_per_mL(number.value)[1],
        "probability": round(float(judged.probability[size]), 3),
        "level_per_mL": float(f"{judged.level_per_mL[size]:.3g}"),
        "used": int(judged.used[size]),
        "codes": [written_code(seen.samples, row) for row in used],
        "first_day": float(seen.samples.day[used[0]]),
        "last_day": float(seen.samples.day[used[-1]]),
        "point": seen.samples.point[used[-1]].value,
    }


def written_code(samples: OilSampleRows, row: int) -> str:
    """A sample as a code, made of its counts where they are known. What was counted is never refused here."""
    code = samples.code[row]
    told = (None, None, None) if code is None else code.numbers
    counts = samples.count_per_mL[row].tolist()
    numbers = [
        number if np.isnan(count) else ScaleNumber(scale_number(count))
        for number, count in zip(told, counts, strict=True)
    ]
    return "/".join("-" if number is None else str(number) for number in numbers)


def _filtering(columns: PlantColumns, system: int) -> list[int]:
    """Positions of the system in service in which something that filters oil is fitted."""
    own = np.flatnonzero(columns.in_service() & (columns.positions.system == system) & (columns.fitted.type >= 0))
    return [int(each) for each in own if columns.positions.place[each] not in _HOLDS_NO_OIL]


@dataclass(frozen=True, slots=True)
class _Grip:
    """What the samples before and after an element say of it."""

    position: int
    lost_probability: float
    is_lost: bool
    facts: dict[str, Any]


def _grip_of(seen: _Seen, position: int) -> _Grip | None:
    """At the smallest size that the element is rated to hold and that was counted on both sides.

    None where nothing can be said: no pair since the fitting, or no size of which it is known to hold most.
    """
    kind = seen.columns.fitted.type[position]
    rating_um, stated_beta = float(seen.columns.types.rating_um[kind]), float(seen.columns.types.beta[kind])
    sizes = [size for size, size_um in enumerate(SIZES_um_c) if size_um >= rating_um]
    pairs = next((pairs for size in sizes if (pairs := _pairs_of(seen, position, size))), None)
    if pairs is None or not stated_beta >= BETA_THAT_TELLS:
        return None
    probability, beta, used = nothing_held_back_probability(
        *(bound[None, pairs.before, pairs.size] for bound in (seen.low_per_mL, seen.high_per_mL)),
        *(bound[None, pairs.after, pairs.size] for bound in (seen.low_per_mL, seen.high_per_mL)),
    )
    goes_round = position in seen.goes_round
    facts = {
        "position": seen.columns.positions.code[position],
        "size_um_c": SIZES_um_c[pairs.size],
        "pairs": int(used[0]),
        "beta": float(f"{beta[0]:.3g}"),
        "stated_beta": stated_beta,
        "rating_um": rating_um,
        "probability": round(float(probability[0]), 3),
        "last_day": float(seen.samples.day[pairs.after[-1]]),
        "goes_round": goes_round,
    }
    lost = float(probability[0])
    return _Grip(position, lost, lost > MISSED_PROBABILITY and not goes_round, facts)


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Rows before and after an element, of one visit each, that both counted the size; oldest first."""

    size: int
    before: list[int]
    after: list[int]

    def __bool__(self) -> bool:
        return bool(self.before)


def _pairs_of(seen: _Seen, position: int, size: int) -> _Pairs:
    """Of what is fitted now."""
    samples, pairs = seen.samples, _Pairs(size, [], [])
    settled_day = seen.columns.fitted.fitted_day[position] + SETTLED_D
    counted = ~np.isnan(seen.low_per_mL[:, size])
    own = np.flatnonzero((samples.position == position) & counted & (samples.day >= settled_day))
    rows: list[int] = own[np.argsort(samples.day[own], kind="stable")].tolist()
    behind = [row for row in rows if samples.point[row] is SamplePoint.DOWNSTREAM]
    for row in rows:
        if samples.point[row] is SamplePoint.UPSTREAM and behind:
            nearest = min(behind, key=lambda each: abs(float(samples.day[each] - samples.day[row])))
            if abs(float(samples.day[nearest] - samples.day[row])) <= ONE_VISIT_D:
                pairs.before.append(row)
                pairs.after.append(nearest)
    return pairs
