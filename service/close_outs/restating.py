"""What a close-out says as it stands, what it says once corrected, and in which members the two differ."""

import json
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import ChangedMember, CloseOutIn, CorrectionIn, DpReading, FittedElement
from api_schemas.problems import MemberProblem
from scheduler.vocabulary import CANONICAL_UNIT, IndicatorState, QuantityKind
from service.close_outs.effects import STAGES, canonical
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import told_by
from service.problems import BadInput

_ELEMENT_MEMBERS = tuple(FittedElement.model_fields)
_READ = (
    ("dp", "dp_bar", QuantityKind.PRESSURE_DIFFERENCE),
    ("vacuum", "vacuum_bar", QuantityKind.VACUUM),
    ("flow", "flow_lpm", QuantityKind.FLOW),
    ("oil_temperature", "oil_temperature_degC", QuantityKind.TEMPERATURE),
)


def as_it_stands(connection: sa.Connection, row: sa.RowMapping) -> CloseOutIn:
    """The close-out as told and corrected, with the ΔP that was added to it later."""
    told = CloseOutIn.model_validate_json(json.dumps(row["told"]))
    if not row["position"]:
        return told
    later: dict[str, Any] = {}
    for member, stage in STAGES.items():
        reading: DpReading | None = getattr(told, member)
        kept = _last_reading(connection, row, stage, reading)
        if kept is not None and not _says_the_same(reading, kept):
            later[member] = _as_reading(kept, row)
    return told.model_copy(update=later)


def as_corrected(standing: CloseOutIn, told: CorrectionIn) -> CloseOutIn:
    """`standing` with the members that `told` corrects. Raises BadInput for a job without a time."""
    update = {member: getattr(told, member) for member in told.members}
    if "at" in update and told.at is None:
        says = "a job has a time; where it never happened, say so with undo"
        raise BadInput(f"at: {says}", [MemberProblem(member="at", says=says)])
    if "oil" in update:
        update["oil"] = told.oil or []
    if told.element is not None:
        update["element"] = _with_members(standing.element, told.element)
    for member in STAGES.keys() & update.keys():
        new, earlier = update[member], getattr(standing, member)
        if new is not None and earlier is not None and "at" not in new.model_fields_set:
            update[member] = new.model_copy(update={"at": earlier.at})
    return standing.model_copy(update=update)


def differences(earlier: CloseOutIn, new: CloseOutIn) -> list[ChangedMember]:
    """Every member in which the two differ, in the order of the close-out's members."""
    found = []
    for member in CloseOutIn.model_fields:
        if member == "element":
            found += _element_differences(earlier.element, new.element)
        elif getattr(earlier, member) != getattr(new, member):
            found.append(_changed(member, getattr(earlier, member), getattr(new, member)))
    return found


def _element_differences(earlier: FittedElement | None, new: FittedElement | None) -> list[ChangedMember]:
    before, after = earlier or FittedElement(), new or FittedElement()
    return [
        _changed(f"element.{name}", getattr(before, name), getattr(after, name))
        for name in _ELEMENT_MEMBERS
        if getattr(before, name) != getattr(after, name)
    ]


def _changed(member: str, earlier: Any, new: Any) -> ChangedMember:
    return ChangedMember(member=member, earlier=_plain(earlier), new=_plain(new))


def _plain(value: Any) -> Any:
    """As the wire has it."""
    if isinstance(value, list):
        return [_plain(each) for each in value]
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json", exclude_none=True)
    return value.isoformat() if hasattr(value, "isoformat") else value


def _with_members(standing: FittedElement | None, told: FittedElement) -> FittedElement | None:
    new = (standing or FittedElement()).model_copy(
        update={name: getattr(told, name) for name in told.model_fields_set}
    )
    return standing if standing is None and new == FittedElement() else new


def _last_reading(
    connection: sa.Connection, row: sa.RowMapping, stage: str, reading: DpReading | None
) -> sa.RowMapping | None:
    """The row that holds `reading`, or where there was none the last one that was added to the close-out."""
    kept = t.dp_readings
    query = sa.select(kept).where(
        current_rows(kept),
        kept.c.position == row["position"],
        kept.c.stage == stage,
        told_by(kept, f"close-out {row['id']}"),
    )
    if reading is not None:
        query = query.where(kept.c.at == (reading.at or row["at"]))
    return connection.execute(query.order_by(kept.c.at.desc())).mappings().first()


def _says_the_same(reading: DpReading | None, kept: sa.RowMapping) -> bool:
    if reading is None or reading.indicator != kept["indicator"]:
        return False
    return all(canonical(getattr(reading, name)) == kept[column] for name, column, _ in _READ)


def _as_reading(kept: sa.RowMapping, row: sa.RowMapping) -> DpReading:
    told: dict[str, Any] = {
        name: {"value": kept[column], "unit": CANONICAL_UNIT[kind]}
        for name, column, kind in _READ
        if kept[column] is not None
    }
    if kept["indicator"] is not None:
        told["indicator"] = IndicatorState(kept["indicator"])
    if kept["at"] != row["at"]:
        told["at"] = kept["at"]
    return DpReading.model_validate(told)
