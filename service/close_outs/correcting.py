"""Correcting a close-out: what it said stays on record, what follows from it follows from what was really so.

It is held against the records as it would have been at first, with what it said itself left out. Where a later
change stands on it, only what still fits between its neighbours can be corrected.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import ChangedMember, CloseOut, CloseOutIn, CorrectionIn
from api_schemas.problems import MemberProblem
from scheduler.planning.close_out import Departure, Untruth
from scheduler.vocabulary import Stage
from service.clock.turn import moment_of_turn
from service.close_outs.amending import Amendment, added_readings, amend
from service.close_outs.checking import (
    Checked,
    as_dict,
    ask_about,
    contradictions,
    refuse,
    says_changed,
    says_of,
    taken_as,
)
from service.close_outs.consequences import Booking, catalogue_unknown
from service.close_outs.effects import Effects, effects_of
from service.close_outs.known import meter_around
from service.close_outs.neighbours import (
    Stays,
    close_out_that_says,
    later_change,
    other_with_hours,
    others_read,
    own_hours,
    stays_around,
)
from service.close_outs.recording import close_out_of, close_out_row, refuse_undone
from service.close_outs.restating import as_corrected, as_it_stands, differences
from service.close_outs.statement import check_statement
from service.close_outs.subject import Subject, subject_again
from service.close_outs.tables import close_out_corrections, close_outs
from service.close_outs.undoing import give_task_back
from service.due.planning_pass import run_pass
from service.plant_store.time import to_day
from service.problems import BadInput, InTheWay

_TICK = timedelta(microseconds=1)


def correct_close_out(
    connection: sa.Connection, id_: int, told: CorrectionIn, now: datetime, by: str
) -> tuple[CloseOut, bool]:
    """The close-out as it stands then, and whether anything was changed; in the caller's transaction.

    Raises NotFound, BadInput, CannotBeTrue for what contradicts the records, ConfirmationNeeded for what is not as
    specified and was not confirmed before, InTheWay where a later change stands on what is to be taken back.
    """
    row = close_out_row(connection, id_)
    if told.undo:
        _refuse_members_of_what_never_was(told)
        if row["undone_at"] is not None:
            return close_out_of(connection, id_), False
    refuse_undone(row)
    standing = as_it_stands(connection, row)
    corrected = standing if told.undo else as_corrected(standing, told)
    changed = differences(standing, corrected)
    if not changed and not told.undo:
        return close_out_of(connection, id_), False
    _Correction(connection, row, standing, corrected, told, changed, now, by).make()
    return close_out_of(connection, id_), True


def _refuse_members_of_what_never_was(told: CorrectionIn) -> None:
    if told.members:
        says = "a job that never happened has no members to correct"
        raise BadInput(f"undo: {says}", [MemberProblem(member=member, says=says) for member in sorted(told.members)])


class _Correction:
    """One correction on its way into the records."""

    def __init__(
        self,
        connection: sa.Connection,
        row: sa.RowMapping,
        standing: CloseOutIn,
        corrected: CloseOutIn,
        told: CorrectionIn,
        changed: Sequence[ChangedMember],
        now: datetime,
        by: str,
    ) -> None:
        self._connection = connection
        self._row = row
        self._standing, self._corrected, self._told, self._changed = standing, corrected, told, changed
        self._by = by
        self._subject: Subject = subject_again(connection, row["task"])
        self._stays: Stays = stays_around(connection, row, changed=says_changed(standing, self._subject.kind))
        self._number = 1 + (
            connection.scalar(
                sa.select(sa.func.max(close_out_corrections.c.number)).where(
                    close_out_corrections.c.close_out == row["id"]
                )
            )
            or 0
        )
        self._now = _after_everything(connection, moment_of_turn(connection, now), row, self._stays)

    def make(self) -> None:
        """Check it, write it, and plan the system anew."""
        was = taken_as(self._connection, self._standing, self._subject, self._stays.earlier)
        before = effects_of(self._connection, self._standing, self._subject, was)
        if self._told.undo:
            self._refuse_under_a_later_change("never happened")
            after, mismatches = Effects(), []
            give_task_back(self._connection, self._subject, self._now, self._by)
        else:
            checked = self._checked(was)
            self._check_added_readings(before, checked)
            catalogue_unknown(self._connection, self._corrected, self._subject, checked)
            after = effects_of(self._connection, self._corrected, self._subject, checked)
            mismatches = self._mismatches(was.departures, checked.departures)
        self._amend(before, after)
        self._keep(mismatches)
        run_pass(
            *(self._connection,),
            as_of=self._now,
            now=self._now,
            cause=self._cause,
            by=self._by,
            systems=frozenset({self._row["system"]}),
        )

    @property
    def _of(self) -> str:
        return f"close-out {self._row['id']}"

    @property
    def _cause(self) -> str:
        return f"{self._of}, correction {self._number}"

    def _checked(self, was: Checked) -> Checked:
        """The corrected statement held against the records without the earlier one."""
        connection, told = self._connection, self._corrected
        check_statement(told)
        checked = taken_as(connection, told, self._subject, self._stays.earlier)
        if was.changed and not checked.changed:
            self._refuse_under_a_later_change("changed no element")
        if checked.changed and not was.changed:
            self._refuse_a_change_under_another(checked)
        found = set(self._contradictions(told, checked)) - set(self._contradictions(self._standing, was))
        errors = [self._named(each) for each in sorted(found, key=lambda each: each.member)]
        errors += self._read_otherwise()
        next_at = self._stays.next_change_at
        if checked.changed and next_at is not None and told.at >= next_at:
            later = later_change(connection, self._row, next_at)
            says = f"{told.at.isoformat(timespec='minutes')} is not before {later}, which changed the element again"
            errors.append(MemberProblem(member="at", value=told.at.isoformat(timespec="minutes"), says=says))
        refuse(errors)
        known = [as_dict(each) for each in was.departures] + list(self._row["mismatches"])
        unknown = [each for each in checked.departures if as_dict(each) not in known]
        if unknown and self._told.confirm_mismatch is None:
            ask_about(unknown)
        return checked

    def _contradictions(self, told: CloseOutIn, checked: Checked) -> list[Untruth]:
        subject = self._subject
        own = own_hours(self._connection, self._row, self._standing, subject, self._stays)
        around = meter_around(self._connection, subject.system, subject.meter, told.at, self._now, but=own)
        return contradictions(told, checked, around, self._stays.removed_before, self._now)

    def _read_otherwise(self) -> list[MemberProblem]:
        """One meter shows one number at a time."""
        told, standing = self._corrected, self._standing
        if told.hours is None or (told.at, told.hours) == (standing.at, standing.hours):
            return []
        return [
            MemberProblem(
                member="hours",
                value=f"{told.hours:g}",
                says=f"{told.hours:g} h is not the {other_h:g} h that close-out {id_} read on this meter at that "
                "moment; where both are wrong, take the hours back there first (hours: null)",
            )
            for id_, other_h in others_read(self._connection, self._row, self._subject, told.at)
            if other_h != told.hours
        ]

    def _named(self, found: Untruth) -> MemberProblem:
        """The untruth in words, with the close-out that says otherwise."""
        problem = says_of(found)
        day = found.known if found.member.endswith("at") else found.known_day
        named = "" if found.code == "in-the-future" else close_out_that_says(self._connection, self._row, day)
        return problem.model_copy(update={"says": problem.says + named})

    def _refuse_under_a_later_change(self, said: str) -> None:
        next_at = self._stays.next_change_at
        if next_at is not None:
            later = later_change(self._connection, self._row, next_at)
            raise InTheWay(
                f"that {self._of} {said} cannot be recorded while {later} stands on it, "
                "which took out the element that it fitted; correct that one first"
            )

    def _refuse_a_change_under_another(self, checked: Checked) -> None:
        stay = checked.stay
        if stay is not None and stay["fitted_at"] >= self._corrected.at:
            later = later_change(self._connection, self._row, stay["fitted_at"])
            raise InTheWay(
                f"that {self._of} changed the element cannot be recorded while {later} stands after it; "
                "correct that one first"
            )

    def _check_added_readings(self, before: Effects, checked: Checked) -> None:
        """ΔP that was added to the close-out stays on its side of the change."""
        at = self._corrected.at
        if not checked.changed or at == self._row["at"]:
            return
        for row in added_readings(self._connection, self._of, self._row["position"], before):
            if row["at"] == self._row["at"]:
                continue
            is_before = row["stage"] == Stage.BEFORE
            if row["at"] > at if is_before else row["at"] < at:
                member = "dp_before" if is_before else "dp_after"
                code = f"{member}-on-the-wrong-side"
                refuse([says_of(Untruth(f"{member}.at", code, to_day(row["at"]), to_day(at)))])

    def _mismatches(self, was: list[Departure], now: list[Departure]) -> list[dict[str, str]]:
        """As recorded, where the correction has nothing to do with them."""
        return list(self._row["mismatches"]) if was == now else [as_dict(each) for each in now]

    def _amend(self, before: Effects, after: Effects) -> None:
        hours = self._standing.hours
        also_read_by = None if hours is None else other_with_hours(self._connection, self._row, self._subject, hours)
        amendment = Amendment(
            of=self._of,
            position=self._row["position"],
            booking=Booking(self._corrected.at, self._now, self._cause),
            earlier=before,
            new=after,
            was_at=self._row["at"],
            undone=self._told.undo,
            also_read_by=also_read_by,
        )
        amend(self._connection, amendment, self._stays)

    def _keep(self, mismatches: list[dict[str, str]]) -> None:
        row = self._row
        self._connection.execute(
            sa.insert(close_out_corrections).values(
                close_out=row["id"],
                number=self._number,
                recorded_at=self._now,
                recorded_by=self._by,
                why=self._told.why,
                changed=[each.model_dump(mode="json") for each in self._changed],
                undone=self._told.undo,
                earlier_told=row["told"],
                earlier_mismatches=row["mismatches"],
            )
        )
        values: dict[str, Any] = {"undone_at": self._now} if self._told.undo else self._restated(mismatches)
        self._connection.execute(sa.update(close_outs).where(close_outs.c.id == row["id"]).values(**values))

    def _restated(self, mismatches: list[dict[str, str]]) -> dict[str, Any]:
        told = self._corrected
        return {
            "at": told.at,
            "told": told.model_dump(mode="json"),
            "mismatches": mismatches,
            "done_by": told.done_by,
            "external_ref": told.external_ref,
        }


def _after_everything(connection: sa.Connection, now: datetime, row: sa.RowMapping, stays: Stays) -> datetime:
    """A moment after all that is corrected was recorded, so that what was known until then is known until then."""
    last = connection.scalar(
        sa.select(sa.func.max(close_out_corrections.c.recorded_at)).where(
            close_out_corrections.c.close_out == row["id"]
        )
    )
    recorded: list[datetime | None] = [
        row["recorded_at"],
        last,
        *(stay["recorded_at"] for stay in (stays.earlier, stays.begun) if stay),
    ]
    return max([now, *(at + _TICK for at in recorded if at is not None)])
