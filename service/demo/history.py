"""Two years at every position: elements fitted and taken out, readings, meters and side changes."""

from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from scheduler.vocabulary import Found
from service.demo.cases import DUPLEX_SIDES
from service.demo.catalogue import STRAINER_CLEANINGS
from service.demo.gauges import Rounds
from service.demo.lives import Ended, Exposure, Life, lives_of, sides_in_turn, wandering_rate
from service.demo.meters import MeterFace
from service.demo.positions import POSITIONS
from service.demo.records import DemoPosition, DemoSystem, Row, Shift, Tables, Value
from service.demo.shifts import CHANGE_HOUR, Timeline, long_stops, run_hours_by_day
from service.demo.systems import OFFLINE_METER, SYSTEMS

_OFFLINE_HOURS_PER_WEEK = 112.0
_SIDE_REFITTED_AFTER_D = 3
"""A duplex side is opened on the Tuesday after it went out of service, the machine running on the other."""

_CONDITION = {
    "indicator": "pleats full, evenly grey",
    "early": "light grey, pleats sound",
    "opportunity": "light grey, taken out with the stop",
    "due": "as expected for its time",
}
_STRAINER_CONDITION = "lint and flakes, washed and refitted"


def random_for(seed: int, name: str) -> np.random.Generator:
    """A stream of its own for each thing, so that a new position does not change the others."""
    return np.random.default_rng([seed, crc32(name.encode())])


@dataclass(frozen=True, slots=True)
class _SystemYears:
    """One system's meters and ingression over the whole timeline."""

    system: DemoSystem
    timeline: Timeline
    faces: dict[str, MeterFace]
    rate: np.ndarray[tuple[int, ...], np.dtype[np.float64]]

    def exposure(self, position: DemoPosition) -> Exposure:
        hours = self.faces[position.meter].hours
        return Exposure(hours, hours * self.rate / position.wear.life_h)


def history_tables(timeline: Timeline, seed: int) -> Tables:
    """The tables `installations`, `dp_readings`, `meter_readings`, and the changeovers among `events`."""
    told = ("installations", "dp_readings", "meter_readings", "events", "findings")
    tables: Tables = {name: [] for name in told}
    for system in SYSTEMS.values():
        years = _years_of(system, timeline, seed)
        for face in years.faces.values():
            tables["meter_readings"] += face.rows(random_for(seed, f"{system.code}/{face.meter}/read"))
        for position in POSITIONS.values():
            if position.system != system.code or position.code == DUPLEX_SIDES[1]:
                continue
            tell = _tell_duplex if position.code == DUPLEX_SIDES[0] else _tell_position
            tell(position, years, random_for(seed, position.code), tables)
    tables["installations"].sort(key=lambda row: (str(row["position"]), str(row["fitted_at"])))
    tables["dp_readings"].sort(key=lambda row: (str(row["position"]), str(row["at"])))
    return tables


def _years_of(system: DemoSystem, timeline: Timeline, seed: int) -> _SystemYears:
    random = random_for(seed, system.code)
    driven = {"": run_hours_by_day(system, timeline, random)}
    if any(position.meter == OFFLINE_METER for position in _positions_of(system)):
        pump = replace(system, hours_per_week=_OFFLINE_HOURS_PER_WEEK, shift=Shift.SIX_DAYS)
        driven[OFFLINE_METER] = run_hours_by_day(pump, timeline, random)
    faces = {meter: MeterFace.of(system.code, meter, hours, timeline) for meter, hours in driven.items()}
    return _SystemYears(system, timeline, faces, wandering_rate(timeline.today_index, random))


def _positions_of(system: DemoSystem) -> list[DemoPosition]:
    return [position for position in POSITIONS.values() if position.system == system.code]


def _tell_position(position: DemoPosition, years: _SystemYears, random: np.random.Generator, tables: Tables) -> None:
    exposure = years.exposure(position)
    rounds = Rounds(position, years.system, exposure, years.timeline, random)
    first_cleaning = int(random.integers(0, 3))
    for turn, life in enumerate(lives_of(position.wear, years.timeline, exposure, random)):
        row = _installation(position, years, life.first, life.last, CHANGE_HOUR)
        most = STRAINER_CLEANINGS.get(position.part_number)
        cleanings = None if most is None else (first_cleaning + turn) % (most + 1)
        row |= {"cleanings": cleanings} | _ending(position, life, years.timeline)
        tables["installations"].append(row)
        tables["dp_readings"] += rounds.rows(life)
        if life.last is not None:
            tables["findings"].append(_found(position, row["removed_at"], turn))


def _tell_duplex(side_a: DemoPosition, years: _SystemYears, random: np.random.Generator, tables: Tables) -> None:
    """Both sides at once: one in service, the other refitted soon after the change of sides and waiting."""
    timeline, exposure = years.timeline, years.exposure(side_a)
    turns = sides_in_turn(lives_of(side_a.wear, timeline, exposure, random), DUPLEX_SIDES)
    refitted: dict[str, int] = {}
    for side, life in turns:
        position = POSITIONS[side]
        rounds = Rounds(position, years.system, exposure, timeline, random, is_changed_in_place=False)
        tables["dp_readings"] += rounds.rows(life)
        tables["events"].append(
            {
                "system": side_a.system,
                "at": timeline.moment(life.first, CHANGE_HOUR),
                "kind": "changeover",
                "position": side,
                "note": f"side {position.side} in service",
            }
        )
        fitted = refitted.get(side, life.first - 60)
        taken_out = None if life.last is None else life.last + _SIDE_REFITTED_AFTER_D
        row = _installation(position, years, fitted, taken_out, 10.0)
        tables["installations"].append(row | _ending(position, life, timeline))
        if taken_out is not None:
            refitted[side] = taken_out
    waiting = turns[-2][0]
    tables["installations"].append(_installation(POSITIONS[waiting], years, refitted[waiting], None, 10.0))


def _installation(position: DemoPosition, years: _SystemYears, first: int, last: int | None, hour: float) -> Row:
    timeline, face = years.timeline, years.faces[position.meter]
    return {
        "position": position.code,
        "fitted_at": timeline.moment(first, hour),
        "part_number": position.part_number,
        "fitted_hours": face.shows(first, hour),
        "removed_at": None if last is None else timeline.moment(last, hour),
        "removed_hours": None if last is None else face.shows(last, hour),
        "lot": f"L{timeline.day(first - 40):%y%m}",
    }


def _found(position: DemoPosition, removed_at: Value, turn: int) -> Row:
    """Silt, as in nearly every housing; now and then it was clean."""
    found = Found.CLEAN if turn % 5 == 4 else Found.SILT
    return {"system": position.system, "at": removed_at, "position": position.code, "found": found}


def _ending(position: DemoPosition, life: Life, timeline: Timeline) -> Row:
    if life.last is None:
        return {}
    day = timeline.day(life.last)
    if life.ended is Ended.LIMIT:
        reason = "indicator" if position.indicator_kind else "due"
    elif any(start <= day <= end for start, end in long_stops(timeline)):
        reason = "opportunity"
    elif position.max_hours or position.max_age_d:
        reason = "due"
    else:
        reason = "early"
    is_strainer = position.part_number in STRAINER_CLEANINGS
    return {"reason": reason, "condition": _STRAINER_CONDITION if is_strainer else _CONDITION[reason]}
