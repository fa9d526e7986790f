"""Checking what was taken from the shelf before a job, and keeping every check, whatever it came to."""

from dataclasses import asdict
from datetime import datetime, timedelta

import sqlalchemy as sa

from api_schemas.checks import Check, CheckFinding, CheckIn, CheckList, Scanned
from api_schemas.problems import MemberProblem
from scheduler.planning.shelf_check import Finding, Objection, Wanted, check, pour_findings
from scheduler.vocabulary import CheckVerdict
from service.checks.instead import cautions
from service.checks.looking_up import JobAhead, job_ahead, last_look, scanned_as, wanted_for
from service.checks.tables import checks
from service.close_outs.effects import canonical
from service.cursors import read_cursor, write_cursor
from service.keys.keeping import Caller
from service.plant_store.time import to_day
from service.problems import BadInput, CannotBeTrue, NotAsSpecified

_LATE = timedelta(days=1)
"""A check may be sent a day late, from where there is no network; with an older time nothing would ever have expired
(ours)."""


def check_before_job(connection: sa.Connection, told: CheckIn, now: datetime, caller: Caller) -> Check:
    """Hold what was scanned against what the job needs, and keep it.

    `told.override` is taken as granted. Raises NotFound, BadInput, CannotBeTrue and InTheWay where there is nothing
    that could be checked; what is merely wrong is an answer.
    """
    _refuse_amounts(told)
    at = told.at or now
    if at < now - _LATE:
        says = f"{at.isoformat(timespec='minutes')} is more than a day ago; what was done is told by a close-out"
        raise CannotBeTrue(says, [MemberProblem(member="at", value=at.isoformat(), says=says)])
    job = job_ahead(connection, told, caller)
    wanted = wanted_for(connection, job)
    found = _findings(connection, told, job, wanted, at)
    refused = any(each.severity is Objection.REFUSE for each in found)
    verdict = CheckVerdict.ASK if found else CheckVerdict.AS_SPECIFIED
    if refused:
        verdict = CheckVerdict.REFUSED if told.override is None else CheckVerdict.OVERRIDDEN
    kept = connection.execute(
        sa.insert(checks).values(
            task=job.task,
            position="" if job.position is None else job.position["position"],
            system=job.system["system"],
            at=at,
            scanned=told.model_dump(mode="json", include=set(Scanned.model_fields), exclude_none=True),
            verdict=verdict,
            findings=[asdict(each) for each in found],
            cautions=cautions(connection, found, wanted, at, now),
            override_reason=None if told.override is None else told.override.reason,
            recorded_by=caller.name,
            recorded_at=now,
        )
    ).inserted_primary_key
    assert kept is not None  # noqa: S101 - an insert of one row has its key
    row = connection.execute(sa.select(checks).where(checks.c.id == kept[0])).mappings().one()
    return _on_the_wire(row)


def refusal_of(kept: Check) -> NotAsSpecified:
    """A refused check as the problem that it is: the document has all of it."""
    refused = " ".join(each.says for each in kept.findings if each.severity == Objection.REFUSE)
    return NotAsSpecified(" ".join([refused, *kept.cautions]), **kept.model_dump(mode="json"))


def kept_checks(
    connection: sa.Connection,
    caller: Caller,
    *,
    task: int | None,
    position: str | None,
    limit: int,
    cursor: str | None,
) -> CheckList:
    """Those that the caller sees, the newest first. Raises BadInput.

    What comes in while somebody turns pages is on none of them.
    """
    query = sa.select(checks).where(caller.only_systems(checks.c.system))
    if task is not None:
        query = query.where(checks.c.task == task)
    if position is not None:
        query = query.where(checks.c.position == position)
    if cursor is not None:
        query = query.where(checks.c.id < read_cursor(cursor, "checks", int)[0])
    page = query.order_by(checks.c.id.desc()).limit(limit + 1)
    rows = connection.execute(page).mappings().all()
    more = len(rows) > limit
    return CheckList(
        items=[_on_the_wire(row) for row in rows[:limit]],
        next=write_cursor("checks", rows[limit - 1]["id"]) if more else None,
    )


def _refuse_amounts(told: CheckIn) -> None:
    """The bounds are those of a container and of a top-up in the plant folder."""
    problems = []
    for member in ("container", "volume"):
        volume_L = canonical(getattr(told, member))
        if volume_L is not None and not volume_L > 0.0:
            says = f"{volume_L:g} L must be above 0 L"
            problems.append(MemberProblem(member=member, value=f"{volume_L:g} L", says=says))
    if problems:
        raise BadInput("; ".join(f"{each.member}: {each.says}" for each in problems), problems)


def _findings(connection: sa.Connection, told: CheckIn, job: JobAhead, wanted: Wanted, at: datetime) -> list[Finding]:
    day = to_day(at)
    found: list[Finding] = []
    if (told.part_number, told.fluid, told.label) != (None, None, None):
        found += check(scanned_as(connection, told, wanted.fluid), wanted, day)
    pour_L = canonical(told.volume)
    if pour_L is not None:
        found += pour_findings(
            pour_L,
            last_look(connection, job.system, at),
            reservoir_volume_L=job.system["reservoir_volume_L"],
            let_out_L=job.let_out_L,
            day=day,
        )
    return sorted(found, key=lambda each: each.severity is Objection.ASK)


def _on_the_wire(row: sa.RowMapping) -> Check:
    return Check(
        id=row["id"],
        verdict=CheckVerdict(row["verdict"]),
        findings=[CheckFinding(**each) for each in row["findings"]],
        cautions=row["cautions"],
        task=row["task"],
        position=row["position"],
        system=row["system"],
        scanned=Scanned(**row["scanned"]),
        at=row["at"],
        recorded_at=row["recorded_at"],
        by=row["recorded_by"],
        override_reason=row["override_reason"],
    )
