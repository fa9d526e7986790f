"""What the oil's level and its top-ups say, what an event asks to be checked, and when an off-line filter helps.

Levels count only where the system was at rest in its defined position (`oil_level`). What was poured since a look is
taken off what was missing then. A top-up at an element's change or an oil change refills what that took; only the
rest tells of a loss (`oil_loss`).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.engineering.clean_up import clean_up, cleaned_flow_lpm
from scheduler.engineering.oil_level import LevelSeen, level_check
from scheduler.planning.cleanliness import SystemCleanliness, Verdict
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.oil_refills import is_refill
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.oil_loss import LossBand, OilLoss, oil_loss
from scheduler.vocabulary import EventKind, Place, Severity, TaskKind

LOW_SHARE = 0.15
"""From so much of the reservoir missing on, oil is to be added. Ours: plants' low marks differ."""

OVERFULL_SHARE = 0.02
"""Above full by more than this counts as overfilled: less is how a mark is read (ours)."""

LOOKS_COUNT_FOR_D = 60.0
"""A look at the level is spoken of for so long (ours)."""

EVENT_ASKS_FOR_D = 30.0
"""After an event its check is asked for so long, unless it was done (ours)."""

CHECKED_EVENTS = {
    EventKind.PUMP_FAILURE: Severity.NOW,
    EventKind.HOSE_BURST: Severity.SOON,
    EventKind.WATER_INGRESS: Severity.SOON,
    EventKind.OVERHEATED: Severity.SOON,
}
"""After these somebody has to look before or soon after the machine runs on; common practice, no source."""


def oil_care(columns: PlantColumns, cleanliness: Iterable[SystemCleanliness]) -> list[Diagnosis]:
    """Every finding that stands at `as_of`, of systems that run or stand ready."""
    found: list[Diagnosis] = []
    for system in np.flatnonzero(columns.systems_ready()).tolist():
        state = oil_state(columns, system)
        found += _of_level(columns, system, state)
        found += _of_loss(columns, system, state.loss)
        found += _of_events(columns, system)
    return found + [each for judged in cleanliness for each in _of_dirt(columns, judged)]


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the level, and what it is worth."""

    day: float
    seen: LevelSeen


@dataclass(frozen=True, slots=True)
class OilState:
    """The oil of one system. `last` is the newest look, `valid` the newest that counts; None where there was none.

    `missing_L` is what the valid look lacked to full less the `poured_L` since, the last of it on `poured_day`.
    `loss` is None where there are too few top-ups to begin with.
    """

    last: Look | None
    valid: Look | None
    missing_L: float | None
    poured_L: float
    poured_day: float
    loss: OilLoss | None


def oil_state(columns: PlantColumns, system: int) -> OilState:
    """What levels and top-ups say of a system at `as_of`."""
    looks = _looks(columns, system)
    valid = next((each for each in reversed(looks) if each.seen.valid and each.seen.missing_L is not None), None)
    poured_L, poured_day = (0.0, -np.inf) if valid is None else _poured_since(columns, system, valid.day)
    missing_L = None if valid is None or valid.seen.missing_L is None else valid.seen.missing_L - poured_L
    return OilState(looks[-1] if looks else None, valid, missing_L, poured_L, poured_day, _loss(columns, system))


def _looks(columns: PlantColumns, system: int) -> list[Look]:
    """Looks at the level that can be read, by day; a reservoir of unknown volume tells nothing."""
    reservoir_L = float(columns.systems.reservoir_volume_L[system])
    rows, found = columns.levels, []
    for row in np.flatnonzero(rows.system == system).tolist():
        level_pct, below_L = _known(rows.level_pct[row]), _known(rows.below_full_L[row])
        given = {"level_pct": level_pct} if level_pct is not None else {"below_full_L": below_L}
        try:
            seen = level_check(
                at_rest=bool(rows.at_rest[row]),
                defined_position=bool(rows.defined_position[row]),
                reservoir_volume_L=reservoir_L,
                **given,
            )
        except ValueError:
            continue  # more missing than the reservoir holds: a slip that no level can be read from
        found.append(Look(float(rows.day[row]), seen))
    return found


def _poured_since(columns: PlantColumns, system: int, day: float) -> tuple[float, float]:
    """Litres poured after that day, and when the last of them were. A change's own refill is none of them."""
    rows = columns.top_ups
    later = np.flatnonzero((rows.system == system) & (rows.day > day))
    later = later[~is_refill(columns, system, rows.day[later])]
    return float(rows.volume_L[later].sum()), float(rows.day[later].max(initial=-np.inf))


def _loss(columns: PlantColumns, system: int) -> OilLoss | None:
    rows = columns.top_ups
    mine = np.flatnonzero(rows.system == system)
    day = rows.day[mine]
    refill = is_refill(columns, system, day)
    if (~refill).sum() < 2:
        return None
    used, litres = day[~refill], rows.volume_L[mine][~refill]
    filled = day[refill & (day >= used[0])].tolist()
    return oil_loss(used[1:], litres[1:], from_day=float(used[0]), to_day=columns.as_of_day, full_day=filled)


def _of_level(columns: PlantColumns, system: int, state: OilState) -> Iterator[Diagnosis]:
    oldest_day = columns.as_of_day - LOOKS_COUNT_FOR_D
    if state.last is not None and state.last.day >= oldest_day and not state.last.seen.valid:
        numbers: dict[str, Any] = {"at_day": state.last.day, "why_not": state.last.seen.why_not}
        yield _of_system(system, "level-not-valid", Severity.NOTE, TaskKind.CHECK_LEVEL, numbers)
    if state.valid is None or state.missing_L is None or state.valid.day < oldest_day:
        return
    reservoir_L = float(columns.systems.reservoir_volume_L[system])
    numbers = {
        "missing_L": round(state.missing_L, 1),
        "reservoir_L": reservoir_L,
        "at_day": state.valid.day,
        "poured_L": round(state.poured_L, 1),
        "fluid": columns.systems.fluid[system].code,
    }
    if state.missing_L >= LOW_SHARE * reservoir_L:
        yield _of_system(system, "oil-level-low", Severity.SOON, TaskKind.TOP_UP, numbers)
    elif state.missing_L < -OVERFULL_SHARE * reservoir_L:
        since_day = max(state.poured_day, state.valid.day)
        yield _of_system(system, "overfilled", Severity.SOON, TaskKind.CHECK_LEVEL, numbers, since_day=since_day)


def _of_loss(columns: PlantColumns, system: int, loss: OilLoss | None) -> Iterator[Diagnosis]:
    if loss is None or not loss.is_finding or loss.rise is None:
        return
    numbers = {
        "before": _band(loss.rise.before),
        "after": _band(loss.rise.after),
        "since_day": loss.rise.since_day,
        "probability": round(loss.risen, 3),
        "top_ups": loss.top_ups,
    }
    newest_day = float(columns.top_ups.day[columns.top_ups.system == system].max())
    yield _of_system(system, "oil-loss-rising", Severity.SOON, TaskKind.INSPECT, numbers, since_day=newest_day)


def _of_events(columns: PlantColumns, system: int) -> Iterator[Diagnosis]:
    """Of each kind the newest; a system that was commissioned is flushed first."""
    rows = columns.events
    newest = {rows.kind[row]: row for row in np.flatnonzero(rows.system == system).tolist()}
    for kind, row in newest.items():
        day = float(rows.day[row])
        if columns.as_of_day - day > EVENT_ASKS_FOR_D:
            continue
        numbers = {"event": kind.value, "at_day": day}
        if kind in CHECKED_EVENTS:
            yield _of_system(
                system,
                f"check-after-{kind.replace('_', '-')}",
                CHECKED_EVENTS[kind],
                TaskKind.CHECK_AFTER_EVENT,
                numbers,
            )
        elif kind is EventKind.COMMISSIONED and not _flushed_since(columns, system, day):
            yield _of_system(system, "flush-after-commissioning", Severity.SOON, TaskKind.FLUSH, numbers)


def _flushed_since(columns: PlantColumns, system: int, day: float) -> bool:
    rows = columns.events
    return any(
        rows.kind[row] is EventKind.FLUSHED and rows.day[row] >= day
        for row in np.flatnonzero(rows.system == system).tolist()
    )


def _of_dirt(columns: PlantColumns, judged: SystemCleanliness) -> Iterator[Diagnosis]:
    """Where samples miss the target and no element is to blame, an off-line filter of the system cleans it."""
    facts = judged.facts
    if judged.verdict is not Verdict.MISSED or judged.position >= 0 or not facts.get("newest_above"):
        return
    now, limit = float(facts["level_per_mL"]), float(facts["limit_per_mL"])
    volume_L = float(columns.systems.reservoir_volume_L[judged.system])
    for position in _offline(columns, judged.system):
        kind = int(columns.positions.specified_type[position])
        flow, beta = float(columns.positions.flow_lpm[position]), float(columns.types.beta[kind])
        rated = float(columns.types.rating_um[kind]) <= facts["size_um_c"]
        if not (rated and flow > 0.0 and beta > 1.0 and volume_L > 0.0 and now > limit):
            continue
        hours = clean_up(now, limit, volume_L=volume_L, cleaned_flow_lpm=cleaned_flow_lpm(flow, beta))
        numbers = {
            "through": columns.positions.code[position],
            "flow_lpm": flow,
            "beta": beta,
            "size_um_c": facts["size_um_c"],
            "now_per_mL": now,
            "limit_per_mL": limit,
            "target": facts["target"],
            **{name: round(float(getattr(hours, name)), 2) for name in ("ideal_h", "low_h", "high_h")},
        }
        yield _of_system(
            *(judged.system, "clean-up-off-line", Severity.SOON, TaskKind.CLEAN_UP, numbers),
            since_day=judged.since_day,
        )
        return


def _offline(columns: PlantColumns, system: int) -> list[int]:
    own = np.flatnonzero(columns.in_service() & (columns.positions.system == system)).tolist()
    return [each for each in own if columns.positions.place[each] is Place.OFFLINE]


def _of_system(
    system: int,
    code: str,
    severity: Severity,
    asks_for: TaskKind,
    numbers: dict[str, Any],
    since_day: float | None = None,
) -> Diagnosis:
    since = float(numbers["at_day"]) if since_day is None else since_day
    return Diagnosis(system, -1, code, severity, numbers, asks_for, since_day=since)


def _band(band: LossBand) -> list[float]:
    return [round(each, 2) for each in (band.low_L_per_week, band.mid_L_per_week, band.high_L_per_week)]


def _known(value: Floats | float) -> float | None:
    return None if np.isnan(value) else float(value)
