"""The lines of a printed card on which a fitter writes what the close-out is going to tell."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scheduler.vocabulary import DisplayUnits, Found, Place, TaskKind

_ON_LID = (Found.CLEAN, Found.DUST, Found.DESICCANT_TURNED, Found.WATER, Found.OIL, Found.WRONG_PART)
_NOT_OF_ELEMENT = frozenset({Found.DUST, Found.DESICCANT_TURNED, Found.OIL})
_KINDS_OF_METAL = frozenset({Found.METAL_STEEL, Found.METAL_BRONZE, Found.METAL_ALUMINIUM})

FOUND = tuple(each.replace("_", " ") for each in Found if each not in _NOT_OF_ELEMENT | _KINDS_OF_METAL)
"""What an old element can show; a card has a box for each, and a line for the kind of metal."""

FOUND_ON_LID = tuple(each.replace("_", " ") for each in _ON_LID)
"""The same of a breather."""

_ONCE = frozenset({"hours", "element", "lot", "parts", "torque", "condition"})
"""Asked where it first comes up, and not a second time: one figure, one line."""

_OPENED = frozenset({TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER, TaskKind.CHANGE_BREATHER})

_DP, _VACUUM, _FLOW, _OIL, _LITRES = "dp", "vacuum", "flow", "oil", "litres"
_UNITS = {
    DisplayUnits.METRIC: {_DP: "bar", _VACUUM: "bar", _FLOW: "L/min", _OIL: "°C", _LITRES: "L"},
    DisplayUnits.US: {_DP: "psi", _VACUUM: "inHg", _FLOW: "gpm", _OIL: "°F", _LITRES: "gal"},
}


@dataclass(frozen=True, slots=True)
class Blank:
    """A line to write on; `wide` takes the whole width."""

    label: str
    unit: str = ""
    wide: bool = False


@dataclass(frozen=True, slots=True)
class WriteIns:
    """What is written beside one step: blanks, and boxes of what was found."""

    blanks: tuple[Blank, ...] = ()
    boxes: tuple[str, ...] = ()


def write_ins(records: Sequence[Sequence[str]], kind: TaskKind, place: Place, units: DisplayUnits) -> list[WriteIns]:
    """For the `records` of each step, in order; what was asked before and stays the same is not asked again.

    >>> [first, again] = write_ins(
    ...     [["hours"], ["hours", "torque"]], TaskKind.CHANGE_ELEMENT, Place.RETURN, DisplayUnits.METRIC
    ... )
    >>> [blank.label for blank in again.blanks]
    ['torque']
    """
    asked: set[str] = set()
    found = []
    for of_step in records:
        new = [record for record in of_step if not (record in _ONCE and record in asked)]
        asked.update(new)
        found.append(_of(new, kind, place, units))
    return found


def not_asked(records: Iterable[Sequence[str]]) -> tuple[Blank, ...]:
    """What every close-out takes and no step of this card asks for."""
    asked = {record for of_step in records for record in of_step}
    return () if "hours" in asked else (_HOURS,)


_HOURS = Blank("hours on the meter", "h")


def _of(records: Sequence[str], kind: TaskKind, place: Place, units: DisplayUnits) -> WriteIns:
    unit = _UNITS[units]
    is_vacuum = place is Place.SUCTION
    read = ("vacuum", unit[_VACUUM]) if is_vacuum else ("ΔP", unit[_DP])
    with_it = (Blank("oil", unit[_OIL]),) if is_vacuum else (Blank("flow", unit[_FLOW]), Blank("oil", unit[_OIL]))
    boxes = FOUND_ON_LID if kind is TaskKind.CHANGE_BREATHER else FOUND if kind in _OPENED else ()
    found = "metal: which, how much" if boxes is FOUND else "what else" if boxes else "found"
    blanks: dict[str, tuple[Blank, ...]] = {
        "hours": (_HOURS,),
        "dp_before": (Blank(f"{read[0]} {'before' if kind in _OPENED else 'read'}", read[1]), *with_it),
        "dp_after": (Blank(f"{read[0]} after", read[1]), *with_it),
        "element": (Blank("part number fitted"),),
        "lot": (Blank("lot"),),
        "parts": (Blank("parts used", wide=True),),
        "oil": (Blank("oil poured", unit[_LITRES]), Blank("oil's lot")),
        "condition": (Blank(found, wide=True),),
        "photo": (Blank("photo number"),),
        "level": (Blank("level"),),
        "torque": (Blank("torque", "N·m"),),
        "sample": (Blank("bottle"),),
        "note": (Blank("note", wide=True),),
    }
    asked_of_it = tuple(blank for record in records for blank in blanks[record])
    return WriteIns(blanks=asked_of_it, boxes=boxes if "condition" in records else ())
