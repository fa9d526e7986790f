"""Whether a close-out can be true, and what of it is not as specified."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, LaterReadings, Mismatch
from api_schemas.problems import MemberProblem
from scheduler.planning.close_out import (
    CLOCKS_DIFFER_D,
    Departure,
    MeterSeen,
    Told,
    Untruth,
    departures,
    untruths,
)
from scheduler.planning.kits import RENEWS
from scheduler.vocabulary import TaskKind
from service.close_outs.known import (
    began_a_stay,
    current_stay,
    fitted_of,
    fluid_told,
    is_cleanable,
    last_removal,
    lot_expires,
    meter_around,
    specified_for,
)
from service.close_outs.statement import Readings, sides_told
from service.close_outs.subject import Subject
from service.plant_store.time import from_day, to_day
from service.problems import BadInput, CannotBeTrue, ConfirmationNeeded

STAY_OUT = "Keep the system out of service until a competent person has assessed it."


@dataclass(frozen=True, slots=True)
class Checked:
    """What a close-out comes to once it has been held against the records. `stay` is the one that it ends."""

    stay: sa.RowMapping | None
    element: str
    changed: bool
    cleaned: bool
    statement: Told
    departures: list[Departure]


MeterAround = tuple[MeterSeen | None, MeterSeen | None]


def check_close_out(connection: sa.Connection, told: CloseOutIn, subject: Subject, now: datetime) -> Checked:
    """Raises CannotBeTrue for what contradicts the records, ConfirmationNeeded for a mismatch nobody confirmed."""
    position = subject.position
    stay = None if position is None else current_stay(connection, position["position"])
    checked = taken_as(connection, told, subject, stay)
    removed_at = None if position is None else last_removal(connection, position["position"])
    around = meter_around(connection, subject.system, subject.meter, told.at, now)
    refuse([says_of(each) for each in contradictions(told, checked, around, removed_at, now)])
    if checked.departures and told.confirm_mismatch is None:
        ask_about(checked.departures)
    return checked


def taken_as(connection: sa.Connection, told: CloseOutIn, subject: Subject, stay: sa.RowMapping | None) -> Checked:
    """How `told` is meant where `stay` is what sits in the position; raises BadInput where it has no meaning."""
    position = subject.position
    if position is None:
        _refuse_position_facts(told)
    changed = position is not None and says_changed(told, subject.kind)
    cleaned = changed and subject.kind is TaskKind.SERVICE_STRAINER and told.element is None
    cleaned = cleaned and is_cleanable(connection, position, stay)
    element = _element(told, position, stay, cleaned=cleaned)
    expires = lot_expires(connection, element, None if told.element is None else told.element.lot)
    statement = Told(
        at_day=to_day(told.at),
        hours=told.hours,
        changed=changed,
        part_number=element,
        lot_expires_day=None if expires is None else to_day(expires),
        fluids=tuple(fluid_told(connection, oil.fluid) for oil in told.oil),
    )
    departed = departures(statement, specified_for(connection, position, subject.system, element))
    return Checked(stay, element, changed, cleaned, statement, departed)


def contradictions(
    told: CloseOutIn, checked: Checked, around: MeterAround, removed_at: datetime | None, now: datetime
) -> list[Untruth]:
    """Everything of `told` that cannot be true. `removed_at` is when the last element that is gone was taken out."""
    found = untruths(checked.statement, fitted_of(checked.stay), *around, to_day(now))
    found += _dated_after(told, now)
    if checked.changed:
        found += _on_the_wrong_side(told, told.at)
        if checked.stay is None and removed_at is not None and told.at < removed_at:
            found.append(Untruth("at", "before-the-removal", to_day(told.at), to_day(removed_at)))
    return found


def ask_about(departed: list[Departure]) -> None:
    """Raises ConfirmationNeeded, naming everything that is not as specified."""
    raise ConfirmationNeeded(
        " ".join(each.says for each in departed)
        + " If this is what was really done, send it again with confirm_mismatch and the reason. "
        + STAY_OUT,
        mismatches=[Mismatch(**as_dict(each)).model_dump() for each in departed],
    )


def check_later_readings(connection: sa.Connection, told: LaterReadings, row: sa.RowMapping, now: datetime) -> None:
    """Raises CannotBeTrue for readings of close-out `row` in the future, or on the wrong side of its change."""
    found = _dated_after(told, now)
    if began_a_stay(connection, row["position"], row["at"], f"close-out {row['id']}"):
        found += _on_the_wrong_side(told, row["at"])
    refuse([says_of(each) for each in found])


def says_changed(told: CloseOutIn, kind: TaskKind) -> bool:
    """Who says what was fitted says that something was fitted, whatever the task was."""
    if told.element_changed is not None:
        return told.element_changed
    return kind in RENEWS or told.element is not None


def _refuse_position_facts(told: CloseOutIn) -> None:
    """ΔP and elements belong to a position; nothing that is told may be lost without a word."""
    members = [*sides_told(told), *(["element"] if told.element is not None else [])]
    if told.element_changed:
        members.append("element_changed")
    if members:
        says = "this task is of the whole system; tell it by a position"
        raise BadInput(f"{', '.join(members)}: {says}", [MemberProblem(member=each, says=says) for each in members])


def refuse(errors: list[MemberProblem]) -> None:
    """Raises CannotBeTrue with all of `errors`, if there are any."""
    if errors:
        raise CannotBeTrue("; ".join(error.says for error in errors), errors)


def _dated_after(told: Readings, now: datetime) -> list[Untruth]:
    return [
        Untruth(f"{member}.at", "in-the-future", to_day(reading.at), to_day(now))
        for member, reading in sides_told(told).items()
        if reading.at is not None and to_day(reading.at) > to_day(now) + CLOCKS_DIFFER_D
    ]


def _on_the_wrong_side(told: Readings, changed_at: datetime) -> list[Untruth]:
    """ΔP of the old element read after it was out, and of the new one before it was in."""
    return [
        Untruth(f"{member}.at", f"{member}-on-the-wrong-side", to_day(reading.at), to_day(changed_at))
        for member, reading in sides_told(told).items()
        if reading.at is not None and (reading.at > changed_at if member == "dp_before" else reading.at < changed_at)
    ]


def _element(told: CloseOutIn, position: sa.RowMapping | None, stay: sa.RowMapping | None, *, cleaned: bool) -> str:
    if told.element is not None and told.element.part_number is not None:
        return told.element.part_number
    if cleaned and stay is not None:
        return str(stay["part_number"])
    return "" if position is None else str(position["part_number"])


def says_of(found: Untruth) -> MemberProblem:
    """An untruth in words, with what is known instead."""
    if found.member.endswith("at"):
        told = from_day(found.told).isoformat(timespec="minutes")
        known = from_day(found.known or 0.0).isoformat(timespec="minutes")
        says = {
            "in-the-future": f"{told} is in the future; it is {known}",
            "before-the-fitting": f"{told} is not after {known}, when the element that sits there was fitted",
            "before-the-removal": f"{told} is before {known}, when the element that sat there was taken out",
            "dp_before-on-the-wrong-side": f"{told} is after {known}, when the element was changed",
            "dp_after-on-the-wrong-side": f"{told} is before {known}, when the element was changed",
        }[found.code]
        return MemberProblem(member=found.member, value=told, says=says)
    seen = "" if found.known_day is None else f" read {from_day(found.known_day).isoformat(timespec='minutes')}"
    says = {
        "below-earlier-reading": f"{found.told:g} h is below the earlier {found.known:g} h{seen}",
        "above-later-reading": f"{found.told:g} h is above the later {found.known:g} h{seen}",
        "more-than-time-allows": f"{found.told:g} h is more than 24 h a day since {found.known:g} h{seen} allow",
    }[found.code]
    hint = "; a new or changed meter is told by meter readings `last` and `first`"
    return MemberProblem(member=found.member, value=f"{found.told:g}", says=says + hint)


def as_dict(departure: Departure) -> dict[str, str]:
    return {name: getattr(departure, name) for name in ("about", "found", "specified", "says")}
