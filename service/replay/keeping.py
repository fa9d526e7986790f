"""Asking for a replay, keeping its steps as they are done, and reading it."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.replays import Replay, ReplayAsked, ReplayList, ReplayResult
from service.cursors import read_cursor, write_cursor
from service.dependencies import refuse_other_plant
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import BadInput, NotAllowed, NotFound
from service.replay.stepping import KeptStep, moments_of_steps
from service.replay.tables import replay_steps, replays

MOST_STEPS = 2600
"""Ours: ten years in steps of a day and a half, fifty in weeks."""

_UNFINISHED = ("waiting", "running")


def ask_for_replay(connection: sa.Connection, caller: Caller, asked: ReplayAsked, now: datetime) -> Replay:
    """Keep what was asked for. Raises BadInput, NotAllowed for a plant that the caller does not see, NotFound."""
    plant = _plant_of(connection, caller, asked.plant)
    steps = checked_steps(asked.from_, asked.to, asked.step_days, now)
    inserted = connection.execute(
        sa.insert(replays).values(
            plant=plant,
            from_at=asked.from_,
            to_at=asked.to,
            step_d=asked.step_days,
            asked_at=now,
            by=caller.name,
            state="waiting",
            steps=steps,
            steps_done=0,
        )
    ).inserted_primary_key
    assert inserted is not None  # noqa: S101 - an insert of one row has its key
    return replay_of(connection, caller, int(inserted[0]))


def checked_steps(first: datetime, last: datetime, step_d: float, now: datetime) -> int:
    """How many steps these are. Raises BadInput for a span that is no past, or too long."""
    if first > last:
        _refuse("from", first, "it lies after 'to'")
    if last > now:
        _refuse("to", last, "it lies ahead; only the past can be replayed")
    steps = len(moments_of_steps(first, last, step_d))
    if steps > MOST_STEPS:
        _refuse("step_days", step_d, f"these are {steps} steps; {MOST_STEPS} is the most")
    return steps


def replay_of(connection: sa.Connection, caller: Caller, replay_id: int) -> Replay:
    """One with its result. Raises NotFound, also for one of a plant that the caller does not see."""
    query = sa.select(replays).where(replays.c.id == replay_id, caller.only(replays.c.plant))
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no replay {replay_id}")
    return _replay(row, with_result=True)


def replays_page(connection: sa.Connection, caller: Caller, *, limit: int, cursor: str | None = None) -> ReplayList:
    """A page, newest first, without results."""
    query = sa.select(*(column for column in replays.c if column.name != "result")).where(
        caller.only(replays.c.plant)
    )
    if cursor is not None:
        query = query.where(replays.c.id < read_cursor(cursor, "replays", int)[0])
    rows = connection.execute(query.order_by(replays.c.id.desc()).limit(limit + 1)).mappings().all()
    return ReplayList(
        items=[_replay(row, with_result=False) for row in rows[:limit]],
        next=write_cursor("replays", rows[limit - 1]["id"]) if len(rows) > limit else None,
    )


def next_unfinished(connection: sa.Connection) -> sa.RowMapping | None:
    """The oldest that is not done: one under way when the process ended comes before one that waits."""
    query = sa.select(replays).where(replays.c.state.in_(_UNFINISHED)).order_by(replays.c.id).limit(1)
    return connection.execute(query).mappings().one_or_none()


def kept_steps(connection: sa.Connection, replay_id: int) -> list[KeptStep]:
    """In order."""
    query = sa.select(replay_steps.c.seen).where(replay_steps.c.replay_id == replay_id)
    return list(connection.scalars(query.order_by(replay_steps.c.step)))


def begin(connection: sa.Connection, replay: sa.RowMapping, columns_of: dict[str, Any]) -> int:
    """How many steps are kept already; none where positions or systems have changed since they were made."""
    replay_id = replay["id"]
    if replay["columns_of"] != columns_of:
        connection.execute(sa.delete(replay_steps).where(replay_steps.c.replay_id == replay_id))
    done = connection.scalar(
        sa.select(sa.func.count()).select_from(replay_steps).where(replay_steps.c.replay_id == replay_id)
    )
    _set(connection, replay_id, state="running", columns_of=columns_of, steps_done=done or 0)
    return done or 0


def keep_steps(connection: sa.Connection, replay_id: int, first: int, steps: Sequence[KeptStep]) -> None:
    """Keep steps from number `first` on."""
    rows = [{"replay_id": replay_id, "step": number, "seen": seen} for number, seen in enumerate(steps, start=first)]
    connection.execute(sa.insert(replay_steps), rows)
    _set(connection, replay_id, steps_done=first + len(steps))


def keep_result(connection: sa.Connection, replay_id: int, result: ReplayResult, now: datetime) -> None:
    """The steps have served."""
    connection.execute(sa.delete(replay_steps).where(replay_steps.c.replay_id == replay_id))
    _set(connection, replay_id, state="done", result=result.model_dump(mode="json"), ended_at=now)


def keep_failure(connection: sa.Connection, replay_id: int, error: str, now: datetime) -> None:
    """What it was ended by; nothing goes on with it."""
    connection.execute(sa.delete(replay_steps).where(replay_steps.c.replay_id == replay_id))
    _set(connection, replay_id, state="failed", error=error, ended_at=now)


def _set(connection: sa.Connection, replay_id: int, **values: Any) -> None:
    connection.execute(sa.update(replays).where(replays.c.id == replay_id).values(**values))


def _plant_of(connection: sa.Connection, caller: Caller, told: str | None) -> str | None:
    if told is not None:
        refuse_other_plant(caller, told)
        if connection.scalar(sa.select(t.plants.c.plant).where(t.plants.c.plant == told)) is None:
            raise NotFound(f"there is no plant '{told}'")
        return told
    if caller.plants is None:
        return None
    if len(caller.plants) != 1:
        raise NotAllowed(f"key '{caller.name}' sees some plants only: say with 'plant' which one is meant")
    return next(iter(caller.plants))


def _refuse(member: str, value: object, says: str) -> None:
    raise BadInput(f"{member} '{value}': {says}", [MemberProblem(member=member, value=str(value), says=says)])


def _replay(row: sa.RowMapping, *, with_result: bool) -> Replay:
    told = row["result"] if with_result else None
    return Replay(
        from_=row["from_at"],
        to=row["to_at"],
        step_days=row["step_d"],
        result=None if told is None else ReplayResult.model_validate(told),
        **{
            name: row[name]
            for name in ("id", "plant", "state", "asked_at", "by", "steps", "steps_done", "ended_at", "error")
        },
    )
