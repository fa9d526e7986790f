"""What a close-out says in itself, before it is held against the records: amounts that can be, parts that agree."""

from collections.abc import Iterator

from api_schemas.close_outs import CloseOutIn, DpReading, LaterReadings
from api_schemas.problems import MemberProblem
from api_schemas.quantities import WireQuantity
from scheduler.units import to_canonical
from scheduler.vocabulary import CANONICAL_UNIT, Found
from service.plant_folder import layout
from service.problems import BadInput

Readings = CloseOutIn | LaterReadings


def check_statement(told: CloseOutIn) -> None:
    """Raises BadInput with everything that the close-out itself cannot mean."""
    _refuse(
        [
            *(*_reading_problems(told), *_oil_problems(told), *_element_problems(told)),
            *(*_found_problems(told), *_level_problems(told)),
        ]
    )


def check_readings(told: LaterReadings) -> None:
    """Raises BadInput for readings that cannot be, and for none at all."""
    if told.dp_before is None and told.dp_after is None:
        says = "say dp_before, dp_after or both"
        raise BadInput(f"there is no reading: {says}", [MemberProblem(member="body", says=says)])
    _refuse(list(_reading_problems(told)))


def sides_told(told: Readings) -> dict[str, DpReading]:
    """The readings that were told, by their member."""
    both = {"dp_before": told.dp_before, "dp_after": told.dp_after}
    return {member: reading for member, reading in both.items() if reading is not None}


def _refuse(problems: list[MemberProblem]) -> None:
    if problems:
        raise BadInput("; ".join(f"{each.member}: {each.says}" for each in problems[:3]), problems)


def _reading_problems(told: Readings) -> Iterator[MemberProblem]:
    for member, reading in sides_told(told).items():
        for name in ("dp", "vacuum", "flow", "oil_temperature"):
            yield from _outside(f"{member}.{name}", getattr(reading, name), layout.DP_READINGS.column(name))


def _oil_problems(told: CloseOutIn) -> Iterator[MemberProblem]:
    for index, oil in enumerate(told.oil):
        yield from _outside(f"oil.{index}.volume", oil.volume, layout.TOP_UPS.column("volume"))


def _element_problems(told: CloseOutIn) -> Iterator[MemberProblem]:
    if told.element is not None and told.element_changed is False:
        says = "an element that was fitted is told, but element_changed is false"
        yield MemberProblem(member="element", says=says)


def _found_problems(told: CloseOutIn) -> Iterator[MemberProblem]:
    found = told.found or []
    if Found.CLEAN in found and len(set(found)) > 1:
        others = ", ".join(each for each in found if each is not Found.CLEAN)
        yield MemberProblem(member="found", value=others, says=f"'clean' stands alone, not beside {others}")


def _level_problems(told: CloseOutIn) -> Iterator[MemberProblem]:
    if told.level is not None:
        yield from _outside("level.level", told.level.level, layout.LEVEL_CHECKS.column("level"))
        below = layout.LEVEL_CHECKS.column("volume_below_full")
        yield from _outside("level.below_full", told.level.below_full, below)


def _outside(member: str, told: WireQuantity | None, column: layout.Column) -> Iterator[MemberProblem]:
    """The bounds are those of the plant folder's column: what cannot be imported cannot be told either."""
    bounds = column.cell
    if told is None or not isinstance(bounds, layout.Quantity):
        return
    value, unit = to_canonical(told.value, told.unit, told.kind), CANONICAL_UNIT[told.kind]
    shown = f"{told.value:g} {told.unit}"
    low, high = bounds.minimum, bounds.maximum
    if low is not None and (value < low or (bounds.above_minimum and value == low)):
        limit = f"must be above {low:g} {unit}" if bounds.above_minimum else f"is below {low:g} {unit}"
        yield MemberProblem(member=member, value=shown, says=f"{shown} {limit}")
    elif high is not None and value > high:
        yield MemberProblem(member=member, value=shown, says=f"{shown} is above {high:g} {unit}")
