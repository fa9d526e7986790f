"""What the ΔP readings of one position say beside its forecast, each fault told once: what explains the others stays.

A gauge that is stuck follows neither oil nor flow and shows no new element, and a temperature that is not the oil's
makes every restated reading wrong: then only the cause is told.
"""

from collections.abc import Iterable

from scheduler.planning.condition import Condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.exponent_diagnoses import exponent_diagnoses
from scheduler.planning.gauge_diagnoses import gauge_diagnoses
from scheduler.planning.new_element_diagnoses import new_element_diagnoses
from scheduler.planning.plant_columns import PlantColumns

_FOLLOWS = frozenset(
    {"restated-dp-follows-viscosity", "dp-follows-flow-squared", "dp-ignores-flow", "dp-jumps-between-two-levels"}
)
_NEW_ELEMENT = frozenset({"new-element-shows-too-little", "new-element-shows-too-much"})


def reading_diagnoses(columns: PlantColumns, duty: Duty, condition: Condition) -> list[Diagnosis]:
    """Of every position what stands now."""
    found = gauge_diagnoses(columns, condition) + exponent_diagnoses(columns, condition)
    return without_the_explained(found + new_element_diagnoses(columns, duty, condition))


def without_the_explained(found: Iterable[Diagnosis]) -> list[Diagnosis]:
    """The same without those that another of the same position explains.

    A gauge at zero leaves too little across a new element standing: an element that is not there shows zero too.
    """
    kept = list(found)
    told = {(each.position, each.code): each for each in kept}

    def is_explained(each: Diagnosis) -> bool:
        dead = told.get((each.position, "gauge-shows-nothing"))
        if dead is not None and each.code in _FOLLOWS:
            return True
        if dead is not None and each.code in _NEW_ELEMENT:
            return float(dead.numbers["shown_bar"]) > 0.0
        misread = (each.position, "restated-dp-follows-viscosity") in told
        return misread and each.code in _NEW_ELEMENT | {"oil-cold-not-dirt"}

    return [each for each in kept if not is_explained(each)]
