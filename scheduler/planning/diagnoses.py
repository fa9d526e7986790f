"""What a good fitter sees in the data: each rule a code of ours, a severity, the numbers, and what to check first.

A rule speaks only of what stands now, so a diagnosis clears by itself when the data clear it. The deeper rules
(cause of dirt, efficiency, leaks) have their own stages; these are the ones that a due date cannot do without.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scheduler.engineering.oil import SealFit, fluid_mismatch, seal_verdict
from scheduler.engineering.reading_gate import Gate
from scheduler.engineering.suction import vacuum_limit_bar
from scheduler.engineering.terminal_dp import TerminalRule
from scheduler.engineering.viscosity import viscosity_at
from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty
from scheduler.planning.indicator import WARM_VISCOSITY_RATIO, Meaning, Sighting
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.level_fall import clearest_fall
from scheduler.statistics.run_hours import ReadingOutcome
from scheduler.vocabulary import EventKind, Severity, TaskKind

DROP_Z = 2.5
DROP_SHARE = 0.35
"""A fall of the restated ΔP by a third and beyond 2.5 standard errors is no scatter (z from the evaluation)."""

NEAR_VACUUM_SHARE = 0.85
"""From here of the limit on the inlet vacuum is told (ours)."""

VACUUM_JUMP = 1.7
"""A vacuum near the limit is believed at once up to so many times the highest of the `BEFORE_IT` before it: strainers
clog by less from one reading to the next, and what is misread is so by a factor of two or ten (ours)."""

STANDS_STILL_D = 14.0
"""A meter that shows the same for two weeks while ΔP readings go on (ours)."""

_SUSPECT_FOR_D = 60.0
"""How long a meter reading that was left out is spoken of (ours)."""

HALFWAY_TO_BYPASS = 0.5
"""A reading at the bypass setting is believed at once where one of the `BEFORE_IT` before it reached half of
that: one in a hundred readings is misread by a factor of two or ten, fewer elements double within a week (ours)."""

BEFORE_IT = 3

RISES_UNSEEN_D = 45.0
"""After so long without a reading an element may have come up to the bypass setting from anywhere (ours)."""

OPEN_BYPASS_HOLDS = 2.0
"""Of its setting; an open bypass lets no more stand across the assembly, a reading beyond it is a slip (ours)."""

_NOT_BELIEVED = frozenset({ReadingOutcome.BACKWARD, ReadingOutcome.JUMP, ReadingOutcome.IMPOSSIBLE})


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """One finding. `position` −1: of the whole system. `asks_for`: the work it raises, if any.

    `since_day` is that of the newest evidence: whoever looked after it has seen everything there is.
    """

    system: int
    position: int
    code: str
    severity: Severity
    numbers: dict[str, Any]
    asks_for: TaskKind | None = None
    since_day: float = float("-inf")


@dataclass(frozen=True, slots=True)
class _Seen:
    columns: PlantColumns
    duty: Duty
    condition: Condition
    sightings: dict[int, Sighting]

    def of_position(
        self, position: int, code: str, severity: Severity, asks_for: TaskKind | None = None, **numbers: Any
    ) -> Diagnosis:
        system = int(self.columns.positions.system[position])
        since_day = float(numbers.get("at_day", float("-inf")))
        return Diagnosis(system, position, code, severity, numbers, asks_for, since_day)

    def of_what_is_fitted(self, position: int, code: str, **numbers: Any) -> Diagnosis:
        """What was fitted is not as specified: keep out of service until somebody has looked."""
        found = self.of_position(position, code, Severity.NOW, TaskKind.INSPECT, **numbers)
        return replace(found, since_day=float(self.columns.fitted.fitted_day[position]))

    def readings_of(self, position: int) -> np.ndarray[Any, np.dtype[np.intp]]:
        offsets = self.columns.dp.offsets
        return np.arange(offsets[position], offsets[position + 1])


def diagnose(
    columns: PlantColumns, duty: Duty, condition: Condition, sightings: dict[int, Sighting]
) -> list[Diagnosis]:
    """Every finding that stands at `as_of`, of positions in service and their systems."""
    seen = _Seen(columns, duty, condition, sightings)
    found: list[Diagnosis] = []
    for position in np.flatnonzero(columns.in_service()):
        for rule in _POSITION_RULES:
            found += rule(seen, int(position))
    for system in sorted({int(columns.positions.system[p]) for p in np.flatnonzero(columns.in_service())}):
        found += _wrong_oil(seen, system)
        found += _doubtful_hours(seen, system)
    return found


def _nothing_fitted(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    if seen.columns.fitted.type[position] < 0:
        yield seen.of_position(position, "nothing-known-fitted", Severity.SOON, TaskKind.INSPECT)


def _wrong_element(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    columns = seen.columns
    kind, specified = columns.fitted.type[position], columns.positions.specified_type[position]
    if kind < 0 or kind == specified:
        return
    fitted, wanted = columns.types.part_number[kind], columns.types.part_number[specified]
    if fitted not in columns.alternates.get(wanted, ()):
        yield seen.of_what_is_fitted(position, "wrong-element-fitted", fitted=fitted, specified=wanted)


def _unsuitable_seals(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """The seals of what stands in for the specified element do not stand the system's oil."""
    columns = seen.columns
    kind = columns.fitted.type[position]
    if kind < 0 or kind == columns.positions.specified_type[position]:
        return
    fluid = columns.systems.fluid[columns.positions.system[position]]
    verdict = seal_verdict(fluid.family, columns.types.seals[kind])
    if verdict.fit is SealFit.UNSUITABLE:
        fitted = columns.types.part_number[kind]
        yield seen.of_what_is_fitted(position, "unsuitable-seals-fitted", fitted=fitted, differs=[verdict.says])


def _expired_element(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """The lot had passed its shelf life on the day of the fitting. What it does in the housing is no shelf life."""
    fitted = seen.columns.fitted
    if fitted.type[position] >= 0 and fitted.lot_expires_day[position] <= fitted.fitted_day[position]:
        yield seen.of_what_is_fitted(
            position,
            "expired-element-fitted",
            fitted=seen.columns.types.part_number[fitted.type[position]],
            lot=fitted.lot[position],
            expired_day=float(fitted.lot_expires_day[position]),
        )


def _no_limit(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """Readings that cannot be judged, because nobody said at which ΔP the plant wants the change."""
    has_dp = np.isfinite(seen.condition.assembly_dp_bar[seen.readings_of(position)]).any()
    if has_dp and np.isnan(seen.condition.terminal_element_dp_bar[position]):
        yield seen.of_position(position, "no-terminal-dp", Severity.NOTE)


def _runs_unfiltered(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """The newest warm reading stands at the bypass setting: oil goes round unfiltered now.

    One reading is enough where the element was on its way there; otherwise a slip is likelier until a second says so.
    """
    rows = seen.readings_of(position)
    gates = seen.condition.gate[rows]
    telling = rows[np.isin(gates, [Gate.BYPASS_OPEN, Gate.USABLE, Gate.BELOW_RESOLUTION])]
    telling = telling[seen.condition.viscosity_ratio[telling] <= WARM_VISCOSITY_RATIO]
    opens = seen.condition.gate[telling] == Gate.BYPASS_OPEN
    if not len(telling) or not opens[-1]:
        return
    if opens[-2:].sum() == 2 or _was_on_its_way(seen, position, telling):
        last = int(telling[-1])
        yield seen.of_position(
            position,
            "bypass-open-warm",
            Severity.NOW,
            TaskKind.INSPECT,
            dp_bar=round(float(seen.condition.assembly_dp_bar[last]), 3),
            bypass_dp_bar=float(seen.columns.positions.bypass_dp_bar[position]),
            at_day=float(seen.columns.dp.day[last]),
        )


def _was_on_its_way(seen: _Seen, position: int, telling: np.ndarray[Any, np.dtype[np.intp]]) -> bool:
    """Whether the newest of the telling readings can stand at the bypass setting on its word alone.

    Not where nobody noted its temperature, which may be a cold start's, and not beyond what an open bypass lets
    stand. Else where an indicator bears it out, a reading shortly before stood high already, or none was taken since.
    """
    last = int(telling[-1])
    bypass_dp_bar = float(seen.columns.positions.bypass_dp_bar[position])
    dp_bar = float(seen.condition.assembly_dp_bar[last])
    if np.isnan(seen.columns.dp.oil_temperature_degC[last]) or dp_bar > OPEN_BYPASS_HOLDS * bypass_dp_bar:
        return False
    sighting, before = seen.sightings.get(position), telling[-1 - BEFORE_IT : -1]
    borne_out = sighting is not None and sighting.is_certain
    if borne_out or not len(before):
        return borne_out
    stood_high = seen.condition.assembly_dp_bar[before].max() >= HALFWAY_TO_BYPASS * bypass_dp_bar
    long_ago = seen.columns.dp.day[last] - seen.columns.dp.day[before[-1]] > RISES_UNSEEN_D
    return bool(stood_high or long_ago)


def _opens_when_cold(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """The plant wants the bypass shut on a cold start, and no element of the type can keep it shut."""
    columns, condition = seen.columns, seen.condition
    coldest = float(columns.systems.coldest_start_degC[columns.positions.system[position]])
    limit = float(condition.terminal_dp_bar[position])
    asked = bool(columns.positions.shut_at_start[position]) and not np.isnan(coldest + limit)
    coldest_viscosity = viscosity_at(coldest, condition.warm.walther_a[position], condition.warm.walther_b[position])
    is_colder = asked and bool(coldest_viscosity > condition.warm.viscosity_mm2_s[position])
    if is_colder and condition.terminal_rule[position] != TerminalRule.COLD_START:
        yield seen.of_position(
            position, "opens-on-a-cold-start", Severity.NOTE, coldest_start_degC=coldest, limit_bar=round(limit, 3)
        )


def _unconfirmed_trip(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    sighting = seen.sightings.get(position)
    if sighting is not None and sighting.meaning is Meaning.UNCONFIRMED:
        yield seen.of_position(
            position, "trip-unconfirmed", Severity.SOON, TaskKind.LOOK_WHEN_WARM, at_day=sighting.last_day
        )


def _dropped(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    """ΔP fell though nothing was changed: a ruptured or unseated element, an open bypass, a missing seal.

    It stands while the ΔP stays down, however long ago it fell: a torn element does not mend.
    """
    rows = seen.readings_of(position)
    rows = rows[np.isin(seen.condition.gate[rows], [Gate.USABLE, Gate.BELOW_RESOLUTION])]
    fall = clearest_fall(seen.condition.element_dp_bar[rows], z=DROP_Z, share=DROP_SHARE)
    if fall is None:
        return
    since_day = float(seen.columns.dp.day[rows[fall.first]])
    found = seen.of_position(
        position,
        "dp-fell-without-change",
        Severity.NOW,
        TaskKind.INSPECT,
        before_bar=round(fall.before, 3),
        after_bar=round(fall.after, 3),
        since_day=since_day,
    )
    yield replace(found, since_day=since_day)


def _near_vacuum_limit(seen: _Seen, position: int) -> Iterator[Diagnosis]:
    rows = seen.readings_of(position)
    vacuum = seen.columns.dp.vacuum_bar[rows]
    known = rows[~np.isnan(vacuum) & (seen.condition.gate[rows] != Gate.CHANGE_DAY)]
    if not len(known):
        return
    limit = float(vacuum_limit_bar(seen.columns.positions.vacuum_limit_bar[position]))
    last = float(seen.columns.dp.vacuum_bar[known[-1]])
    if last >= NEAR_VACUUM_SHARE * limit and _may_be_so_high(seen, known):
        severity = Severity.NOW if last >= limit else Severity.SOON
        yield seen.of_position(
            position,
            "inlet-vacuum-near-limit",
            severity,
            vacuum_bar=round(last, 3),
            limit_bar=limit,
            at_day=float(seen.columns.dp.day[known[-1]]),
        )


def _may_be_so_high(seen: _Seen, known: np.ndarray[Any, np.dtype[np.intp]]) -> bool:
    """Whether the newest vacuum can be believed on its word alone: noted with cold oil, which explains it, or in line
    with the warm ones before, or after a long time without any. A second near the limit settles it."""
    is_cold = seen.condition.viscosity_ratio[known] > WARM_VISCOSITY_RATIO
    last, before = int(known[-1]), known[:-1][~is_cold[:-1]][-BEFORE_IT:]
    if is_cold[-1] or not len(before):
        return True
    vacuum_bar, day = seen.columns.dp.vacuum_bar, seen.columns.dp.day
    in_line = vacuum_bar[last] <= VACUUM_JUMP * vacuum_bar[before].max()
    return bool(in_line or day[last] - day[before[-1]] > RISES_UNSEEN_D)


_POSITION_RULES: tuple[Callable[[_Seen, int], Iterator[Diagnosis]], ...] = (
    *(_nothing_fitted, _wrong_element, _unsuitable_seals, _expired_element),
    *(_no_limit, _runs_unfiltered, _opens_when_cold, _unconfirmed_trip, _dropped),
    _near_vacuum_limit,
)


def _wrong_oil(seen: _Seen, system: int) -> Iterator[Diagnosis]:
    """An oil was poured that is not the specified one, and the fill has not been changed since."""
    columns = seen.columns
    renewed = [
        float(columns.events.day[row])
        for row in np.flatnonzero(columns.events.system == system)
        if columns.events.kind[row] is EventKind.OIL_CHANGE
    ]
    since = max(renewed, default=-np.inf)
    specified = columns.systems.fluid[system]
    poured = [
        row
        for row in np.flatnonzero(columns.top_ups.system == system)
        if columns.top_ups.day[row] > since and fluid_mismatch(specified, columns.top_ups.fluid[row])
    ]
    if poured:
        last = poured[-1]
        fluid = columns.top_ups.fluid[last]
        yield Diagnosis(
            system,
            -1,
            "wrong-oil-poured",
            Severity.NOW,
            {
                "poured": fluid.code,
                "specified": specified.code,
                "volume_L": round(float(sum(columns.top_ups.volume_L[row] for row in poured)), 2),
                "at_day": float(columns.top_ups.day[last]),
                "differs": fluid_mismatch(specified, fluid),
            },
            TaskKind.INSPECT,
            since_day=float(columns.top_ups.day[last]),
        )


def _doubtful_hours(seen: _Seen, system: int) -> Iterator[Diagnosis]:
    """Newest meter readings that were left out, and a meter that stands still while readings go on."""
    columns, now = seen.columns, seen.columns.as_of_day
    for index in np.flatnonzero(columns.meters.system == system):
        rows = slice(columns.meters.offsets[index], columns.meters.offsets[index + 1])
        hours = seen.duty.meters[index].hours
        day, shown_h = columns.meters.day[rows], columns.meters.shown_h[rows]
        doubted = np.flatnonzero(np.isin(hours.outcome, [int(each) for each in _NOT_BELIEVED]))
        doubted = doubted[now - day[doubted] <= _SUSPECT_FOR_D]
        if len(doubted):
            last = int(doubted[-1])
            settled = last < len(day) - 1  # later readings went on without it
            yield Diagnosis(
                system,
                -1,
                _meter_code("meter-reading-doubtful", columns.meters.code[index]),
                Severity.NOTE if settled else Severity.SOON,
                {
                    "meter": columns.meters.code[index],
                    "hours": float(shown_h[last]),
                    "at_day": float(day[last]),
                    "earlier_h": _number(hours.earlier_h[last]),
                    "earlier_day": _number(hours.earlier_day[last]),
                    "outcome": ReadingOutcome(int(hours.outcome[last])).name.lower(),
                    "count": len(doubted),
                },
            )
        still = _stands_still_since(seen, int(index))
        if still is not None:
            yield Diagnosis(
                system,
                -1,
                _meter_code("meter-stands-still", columns.meters.code[index]),
                Severity.SOON,
                {"meter": columns.meters.code[index], "hours": float(hours.cumulative_h[-1]), "since_day": still},
            )


def _stands_still_since(seen: _Seen, index: int) -> float | None:
    hours = seen.duty.meters[index].hours
    if len(hours.day) < 3:
        return None
    moving = np.flatnonzero(hours.cumulative_h < hours.cumulative_h[-1] - 0.05)
    first_same = int(moving[-1]) + 1 if len(moving) else 0
    since, until = float(hours.day[first_same]), float(hours.day[-1])
    positions = np.flatnonzero(seen.columns.positions.meter == index)
    flowing = [
        row
        for position in positions
        for row in seen.readings_of(int(position))
        if since < seen.columns.dp.day[row] <= until
        and seen.condition.gate[row] in (Gate.USABLE, Gate.COLD, Gate.BYPASS_OPEN)
    ]
    return since if until - since >= STANDS_STILL_D and len(flowing) >= 2 else None


def _meter_code(code: str, meter: str) -> str:
    """A system's meters may each have the finding: the code carries the meter's name, the main one's has none."""
    return f"{code}:{meter}" if meter else code


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
