"""Jobs of every kind: drawn at random, in a grid without gaps, and one that is told in full."""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any

import numpy as np
from hypothesis import strategies as st

from scheduler.engineering.new_element import ExpectedDp
from scheduler.job_card.job import Job
from scheduler.vocabulary import Access, Answer, EventKind, FluidFamily, Hazard, IndicatorKind, Place, TaskKind

_WORDS = (None, "", "  ", "TP3", "north bay, upper floor.")
_AMOUNTS = (None, 0.0, 0.4, 8.0, 62.0, 1250.0)
_COUNTS = (None, 0, 2, 5)
_HAZARDS = (*(each.value for each in Hazard), "hot press beside it", " ")

_TOLD: dict[str, Sequence[object]] = {
    "fluid_family": (None, *FluidFamily),
    "working_pressure_bar": _AMOUNTS,
    "working_temperature_degC": _AMOUNTS,
    "isolation_procedure": _WORDS,
    "permits": _WORDS,
    "position": ("", "P1"),
    "system": ("", "S1"),
    "part_number": (None, "EL-1"),
    "quantity": (1, 3),
    "alternates": ((), ("EL-2", "EL-3")),
    "seals": (None, "FKM", "EPDM", "cork"),
    "seal_kit": (None, "SK-1"),
    "fluid": (None, "OIL-46"),
    "fluid_name": _WORDS,
    "grade": (None, 46),
    "housing": _WORDS,
    "test_point": _WORDS,
    "torque_Nm": _AMOUNTS,
    "housing_volume_L": _AMOUNTS,
    "reservoir_volume_L": _AMOUNTS,
    "bypass": (None, *Answer),
    "indicator_kind": (None, *IndicatorKind),
    "inlet_head_m": (None, -0.5, 0.0, 0.8),
    "cleaned": (False, True),
    "cleanings": _COUNTS,
    "max_cleanings": _COUNTS,
    "heaviest_lift_kg": _AMOUNTS,
    "heaviest_lift": _WORDS,
    "lifting_aid": _WORDS,
    "top_up_filter": _WORDS,
    "clean_up": _WORDS,
    "target_code": (None, "18/16/13"),
    "oil_needed_L": _AMOUNTS,
    "level_position": _WORDS,
    "asked_by": _WORDS,
    "dp_after": ((), (ExpectedDp(50.0, 0.3, 0.5),), (ExpectedDp(50.0, 0.3, 0.5), ExpectedDp(30.0, 0.6, 1.0))),
    "flow_lpm": _AMOUNTS,
    "terminal_dp_bar": _AMOUNTS,
}


def _told(seed: int) -> dict[str, Any]:
    """What decides the words only, from one number: drawn one by one it would take most of the test's time."""
    chance = np.random.default_rng(seed)
    drawn = chance.integers(0, 2**31, size=len(_TOLD))
    told: dict[str, Any] = {
        name: values[int(n) % len(values)] for (name, values), n in zip(_TOLD.items(), drawn, strict=True)
    }
    listed = chance.permutation(len(_HAZARDS))[: int(chance.integers(0, 5))]
    return told | {"hazards": tuple(_HAZARDS[int(n)] for n in listed)}


any_job: st.SearchStrategy[Job] = st.builds(
    lambda task, place, access, side, event, seed: Job(
        task, place, access=access, side=side, event=event, **_told(seed)
    ),
    st.sampled_from(TaskKind),
    st.sampled_from(Place),
    st.sampled_from((None, *Access)),
    st.sampled_from(("", "A", "B", "left")),
    st.sampled_from((None, *EventKind)),
    st.integers(0, 2**32 - 1),
)


def every_kind_of_job() -> Iterator[Job]:
    """Each task at each place with each access, side and event: what decides which steps there are."""
    for task, place, access, side in product(TaskKind, Place, (None, *Access), ("", "A")):
        events = (None, *EventKind) if task is TaskKind.CHECK_AFTER_EVENT else (None,)
        for event, cleaned in product(events, (False, True) if task is TaskKind.SERVICE_STRAINER else (False,)):
            yield Job(task, place, access=access, side=side, event=event, cleaned=cleaned)


def return_change(**told: Any) -> Job:
    """A return element of a press, told in full; `told` is what the test is about."""
    in_full: dict[str, Any] = {
        "task": TaskKind.CHANGE_ELEMENT,
        "place": Place.RETURN,
        "hazards": (Hazard.ACCUMULATOR.value,),
        "access": Access.STOPPED,
        "fluid_family": FluidFamily.HM,
        "working_pressure_bar": 210.0,
        "working_temperature_degC": 55.0,
        "isolation_procedure": "LOTO-12",
        "position": "P1",
        "system": "S1",
        "part_number": "EL-1",
        "seals": "FKM",
        "seal_kit": "SK-1",
        "fluid": "OIL-46",
        "grade": 46,
        "housing": "R4",
        "test_point": "TP3",
        "torque_Nm": 45.0,
        "housing_volume_L": 8.0,
        "bypass": Answer.YES,
        "flow_lpm": 120.0,
        "terminal_dp_bar": 2.5,
    }
    return Job(**(in_full | told))
