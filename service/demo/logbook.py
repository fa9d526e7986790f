"""Oil samples, events, level checks and top-ups of the demo plant."""

from datetime import timedelta

import numpy as np

from scheduler.vocabulary import EventKind, FluidFamily
from service.demo.cases import CLEANLINESS_MISSED, WRONG_OIL_SYSTEM
from service.demo.catalogue import FLUIDS, LOOKALIKE_ESTER
from service.demo.history import random_for
from service.demo.records import DemoSystem, Row
from service.demo.shifts import HISTORY_D, SUNDAY, Timeline
from service.demo.stores import OIL_LOT
from service.demo.systems import SYSTEMS

LABORATORY_TAKES_D = 4
"""A sample's result counts as known only when the laboratory's sheet came back."""

_NEWEST_SAMPLE_D = 6
_WORSE_SAMPLES, _WORSE_BY = 5, 2
_BESIDE_THE_ELEMENT = {0: 1.3, 1: 1.4, 2: 1.5, 9: 55.0, 17: 60.0}
"""Samples back from the newest, taken before and after the element as well, and the count ratio they gave."""

WRONG_TOP_UP_D = 19

LEAKING_SYSTEM = "BALER1"
_LEAK_TOPPED_UP_BACK_D = (61, 49, 40, 28, 17, 8)

LOW_LEVEL_SYSTEM, _LOW_LEVEL_PCT = "BENDER1", 78.0
_LEVELS_PCT = (88.0, 98.0)
_LOOKS_EVERY_D = 28

_EVENTS: tuple[tuple[int, str, EventKind, str | None, str], ...] = (
    (722, "RIG1", EventKind.COMMISSIONED, None, "rig rebuilt and started again"),
    (480, "SAW1", EventKind.FLUSHED, None, "flushed after the valve block was changed"),
    (395, "BALER1", EventKind.HOSE_BURST, None, "hose to the side ram; 120 L lost"),
    (300, "SHEAR1", EventKind.OIL_CHANGE, None, "oil changed, tank wiped out"),
    (260, "LOADER1", EventKind.HOSE_BURST, None, "boom hose chafed through"),
    (210, "RING1", EventKind.WATER_INGRESS, None, "cooler leak, water drawn off"),
    (150, "PRESS2", EventKind.OVERHEATED, None, "cooler fan stopped, 74 °C"),
    (96, "BENDER1", EventKind.OPENED, "BENDER1-PRS", "opened to look, refitted"),
    (6, "FEED1", EventKind.PUMP_FAILURE, None, "pump seized, bronze in the tank"),
    (5, "FEED1", EventKind.REPAIR, None, "pump changed; elements not yet"),
)


def event_rows(timeline: Timeline) -> list[Row]:
    rows: list[Row] = []
    for back, system, kind, position, note in _EVENTS:
        index = _working_day(timeline, timeline.today_index - back)
        rows.append(
            {
                "system": system,
                "at": timeline.moment(index, 15.5 if kind is EventKind.REPAIR else 10.25),
                "kind": kind,
                "position": position,
                "note": note,
            }
        )
    return rows


def oil_sample_rows(timeline: Timeline, seed: int) -> list[Row]:
    """Reservoir samples of every system; at the rig also before and after the element that lost its grip."""
    rows: list[Row] = []
    for system in SYSTEMS.values():
        random = random_for(seed, f"{system.code}/oil")
        missed = CLEANLINESS_MISSED.startswith(f"{system.code}-")
        for back in range((HISTORY_D - 30) // system.sampling.every_d):
            index = timeline.today_index - _NEWEST_SAMPLE_D - back * system.sampling.every_d
            worse = _WORSE_BY if missed and back < _WORSE_SAMPLES else 0
            sample = _sample(timeline, system, _working_day(timeline, index), worse, random)
            rows.append(sample)
            if missed and back in _BESIDE_THE_ELEMENT:
                rows += _beside_the_element(sample, _BESIDE_THE_ELEMENT[back])
    return sorted(rows, key=lambda row: (str(row["system"]), str(row["at"]), str(row["point"])))


def level_check_rows(timeline: Timeline, seed: int) -> list[Row]:
    rows: list[Row] = []
    for system in SYSTEMS.values():
        random = random_for(seed, f"{system.code}/level")
        for index in range(
            timeline.first_told + int(random.integers(4, 24)), timeline.today_index - 1, _LOOKS_EVERY_D
        ):
            level_pct = float(np.round(random.uniform(*_LEVELS_PCT)))
            if system.code == LOW_LEVEL_SYSTEM and index > timeline.today_index - 2 * _LOOKS_EVERY_D:
                level_pct = _LOW_LEVEL_PCT
            is_mobile = system.code == "LOADER1"
            rows.append(
                {
                    "system": system.code,
                    "at": timeline.day(_working_day(timeline, index)),
                    "level": None if is_mobile else level_pct,
                    "volume_below_full": round((100.0 - level_pct) * system.reservoir_L / 400) if is_mobile else None,
                    "at_rest": "no" if random.random() < 0.15 else "yes",
                    "defined_position": "no" if random.random() < 0.10 else "yes",
                }
            )
    return rows


def top_up_rows(timeline: Timeline, seed: int) -> list[Row]:
    """Top-ups with the specified oil, and the one that was poured from the drum beside it."""
    rows: list[Row] = []
    for system in SYSTEMS.values():
        random = random_for(seed, f"{system.code}/top-up")
        index = timeline.first_told + int(random.integers(10, 80))
        while index < timeline.today_index - 25:
            rows.append(
                {
                    "system": system.code,
                    "at": timeline.day(_working_day(timeline, index)),
                    "fluid": system.fluid,
                    "volume": max(5, 5 * round(system.reservoir_L * random.uniform(0.008, 0.03) / 5)),
                    "through_filter": "no" if random.random() < 0.2 else "yes",
                    "lot": None,
                }
            )
            index += int(random.integers(55, 130))
        if system.code == LEAKING_SYSTEM:
            rows += [
                {
                    "system": system.code,
                    "at": timeline.day(_working_day(timeline, timeline.today_index - back)),
                    "fluid": system.fluid,
                    "volume": 10,
                    "through_filter": "yes",
                    "lot": None,
                }
                for back in _LEAK_TOPPED_UP_BACK_D
            ]
    wrong_on = _working_day(timeline, timeline.today_index - WRONG_TOP_UP_D)
    wrong: Row = {
        "system": WRONG_OIL_SYSTEM,
        "at": timeline.moment(wrong_on, 13.5),
        "fluid": LOOKALIKE_ESTER,
        "volume": 18,
        "through_filter": "no",
        "lot": OIL_LOT[LOOKALIKE_ESTER],
    }
    return [*rows, wrong]


def _sample(timeline: Timeline, system: DemoSystem, index: int, worse: int, random: np.random.Generator) -> Row:
    fluid = FLUIDS[system.fluid]
    shift = random.normal(0.0, 0.45) + worse
    at = timeline.day(index)
    row: Row = {
        "system": system.code,
        "at": at,
        "recorded_at": at + timedelta(days=LABORATORY_TAKES_D),
        "point": "reservoir",
        "viscosity_40": round(fluid.viscosity_40_mm2_s * random.normal(1.0, 0.012), 1),
    }
    if system.sampling.as_counts:
        counts = [_count_per_mL(code + shift, random) for code in system.sampling.codes]
        row |= dict(zip(("count_4", "count_6", "count_14"), counts, strict=True))
    else:
        four, six, fourteen = (round(code + shift) for code in system.sampling.codes)
        row["code"] = f"{'-' if random.random() < 0.1 else four}/{six}/{fourteen}"
    if fluid.family is FluidFamily.HM:
        row["water"] = round(random.uniform(60.0, 170.0))
    elif fluid.family is FluidFamily.HEES:
        row["water_saturation"] = round(random.uniform(18.0, 38.0))
    return row


def _beside_the_element(reservoir: Row, ratio: float) -> list[Row]:
    """The same day's counts before and after the off-line element; `ratio` is upstream over downstream."""
    counts = {name: float(str(reservoir[name])) for name in ("count_4", "count_6", "count_14")}
    bare: Row = {name: reservoir[name] for name in ("system", "at", "recorded_at")}
    bare["position"] = CLEANLINESS_MISSED
    upstream: Row = bare | {"point": "upstream"} | {name: round(value, 2) for name, value in counts.items()}
    downstream: Row = bare | {"point": "downstream"}
    downstream |= {name: round(value / ratio, 2) for name, value in counts.items()}
    return [upstream, downstream]


def _count_per_mL(code: float, random: np.random.Generator) -> float:
    """A count inside the ISO 4406 interval of `code`, whose upper end is about 0.01 · 2^code per mL."""
    return round(float(0.01 * 2.0**code * random.uniform(0.6, 0.9)), 2)


def _working_day(timeline: Timeline, index: int) -> int:
    return index - 1 if timeline.weekdays()[index] == SUNDAY else index
