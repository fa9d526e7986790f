"""What there is to see in the demo plant: short facts for one page, by position code."""

from typing import NamedTuple

from service.demo import cases
from service.demo.catalogue import FLUIDS, LOOKALIKE_ESTER, LOOKALIKE_WATER_GLYCOL, MINERAL_OIL
from service.demo.logbook import LEAKING_SYSTEM, LOW_LEVEL_SYSTEM, WRONG_TOP_UP_D
from service.demo.meters import REPLACED_D, STANDS_STILL_SINCE_D, TYPING_ERROR_D
from service.demo.positions import POSITIONS
from service.demo.stores import SUPPLY_IN_D
from service.demo.systems import PLANT_NAME, REPLACED_METER_SYSTEM, STOPPED_METER_SYSTEM, SYSTEMS


class StorySection(NamedTuple):
    heading: str
    sentences: tuple[str, ...]


def demo_story() -> list[StorySection]:
    """The page's sections in reading order; every code in them is one of the demo plant's."""
    return [_the_plant(), _first_of_all(), _triggers(), _diagnoses(), _stores_and_oil(), _stops()]


def _the_plant() -> StorySection:
    return StorySection(
        "An invented plant",
        (
            f"{PLANT_NAME} does not exist: its machines, oils, part numbers and readings were all made up.",
            f"It has {len(SYSTEMS)} hydraulic systems with {len(POSITIONS)} positions and two years of history,"
            " all dated back from the day it was loaded.",
            "The readings come from a simple simulation: dirt grows with run hours at a wandering rate, ΔP stays"
            " nearly flat and then rises steeply, gauges are rounded, and some readings lack flow or temperature.",
            "Nothing here says that a real machine is safe to open. Your plant's isolation procedure comes first.",
        ),
    )


def _first_of_all() -> StorySection:
    return StorySection(
        "Look here first",
        (
            f"{cases.WARM_BYPASS}: the bypass is open with warm oil, so the trimming press runs unfiltered now.",
            f"{cases.WRONG_OIL_SYSTEM}: about {WRONG_TOP_UP_D} days ago an ester oil was poured into mineral oil.",
            f"{cases.DUE_BY_EVENT}: the pump of its system failed, and the elements are still the old ones.",
            f"{cases.DUE_BY_PRESSURE}: the ΔP climbs steeply and will reach its limit within days of running.",
        ),
    )


def _triggers() -> StorySection:
    hours = POSITIONS[cases.DUE_BY_HOURS].max_hours
    age_d = POSITIONS[cases.DUE_BY_AGE].max_age_d
    return StorySection(
        "Where each trigger can be seen",
        (
            f"Hours: {cases.DUE_BY_HOURS} has no gauge and is near its limit of {hours:g} run hours.",
            f"Age: {cases.DUE_BY_AGE} is a breather older than its {age_d:g} days.",
            f"Pressure: {cases.DUE_BY_PRESSURE} has passed the knee of its ΔP curve.",
            f"Life: {cases.DUE_BY_LIFE} has no gauge and no limit in hours; its earlier lives tell the date.",
            f"Indicator: {cases.DUE_BY_INDICATOR} has tripped again and again with warm oil.",
            f"Event: {cases.DUE_BY_EVENT} stands behind a pump that failed.",
            f"Cleanliness: {_system_of(cases.CLEANLINESS_MISSED)} has missed its target in its last samples;"
            f" those before and after {cases.CLEANLINESS_MISSED} hardly differ, so that element holds back little.",
        ),
    )


def _diagnoses() -> StorySection:
    return StorySection(
        "Where each diagnosis can be seen",
        (
            f"Unconfirmed indicator: {cases.INDICATOR_UNCONFIRMED} tripped at the start of a shift and nobody wrote"
            " the oil temperature down. Look again when it is warm.",
            f"Running unfiltered: {cases.WARM_BYPASS} reads above its cracking pressure with warm oil.",
            f"ΔP fell without a change: {cases.DROP_WITHOUT_CHANGE} lost most of its ΔP between two readings.",
            f"Meter: {STOPPED_METER_SYSTEM} has shown the same hours for about {STANDS_STILL_SINCE_D} days while"
            f" {cases.METER_STANDS_STILL} was read with full flow. {cases.TYPING_ERROR_SYSTEM} has a value typed"
            f" too low about {TYPING_ERROR_D} days ago, and {REPLACED_METER_SYSTEM}"
            f" got a new meter about {REPLACED_D} days ago.",
            f"Suction: the vacuum behind {cases.VACUUM_NEAR_LIMIT} is near the pump's limit.",
            f"Suction, cold: behind {cases.VACUUM_WHEN_COLD} the vacuum is low with warm oil, and a cold start would"
            " pass the pump's limit.",
            f"Short lives: the last two elements at {cases.SHORT_LIVES} lasted about half as long as the others.",
            f"Nothing known: no element was ever recorded at {cases.NOTHING_FITTED}.",
            f"Why oil got dirty: `elementdue contamination {_system_of(cases.CLEANLINESS_MISSED)}` weighs what"
            " comes in against what each filter cleans, and says how likely it is that"
            f" {cases.CLEANLINESS_MISSED} lets dirt through.",
            f"Checks after an event: nobody has recorded those after the pump failure at"
            f" {_system_of(cases.DUE_BY_EVENT)}.",
        ),
    )


def _stores_and_oil() -> StorySection:
    mineral, ester, glycol = (FLUIDS[code] for code in (MINERAL_OIL, LOOKALIKE_ESTER, LOOKALIKE_WATER_GLYCOL))
    return StorySection(
        "Stores and oil",
        (
            f"{cases.LOW_WITH_SUPPLY} is down to one piece; more comes in {SUPPLY_IN_D} days.",
            f"{cases.LOW_WITHOUT_SUPPLY} is down to one piece, more than one is due, and none is on order.",
            f"{LEAKING_SYSTEM} is topped up ever more often for about two months: it leaks, and the litres a week"
            " before and after are told.",
            f"{LOW_LEVEL_SYSTEM} stands a good fifth below full; the top-up waits in its work order with the oil.",
            f"{mineral.name} ({mineral.family}), {ester.name} ({ester.family}) and {glycol.name} ({glycol.family})"
            f" stand in {cases.OIL_STORE}: their names differ by a letter and they must never be mixed.",
        ),
    )


def _stops() -> StorySection:
    side_a, side_b = cases.DUPLEX_SIDES
    return StorySection(
        "Stops",
        (
            "Every Saturday has a morning stop, the first of a month a longer one.",
            "One long stop lies within the next six weeks and another beyond them.",
            f"{side_a} and {side_b} are two sides of one housing: one works, the other waits with a new element.",
        ),
    )


def _system_of(position: str) -> str:
    return POSITIONS[position].system
