"""The check sheet of a task: what `POST /v1/checks` would say of each thing, told before anything is scanned.

It asks the same comparison of each part and each fluid that the plant lists, so that the two cannot part.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from math import floor

import sqlalchemy as sa

from api_schemas.checks import CheckIn
from api_schemas.packs import (
    CheckSheet,
    FluidLot,
    Objection,
    PartLot,
    PartRole,
    PourRoom,
    SheetFluid,
    SheetPart,
)
from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_level import LevelSeen, most_to_add
from scheduler.planning import shelf_check
from scheduler.planning.shelf_check import LOOK_HOLDS_D, Finding, Wanted
from service.checks.looking_up import JobAhead, job_ahead, last_look, scanned_as, wanted_for
from service.database import current_rows
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.catalogue import fluid_of
from service.plant_store.time import from_day, to_day
from service.stock.booking import oil_lots
from service.stock.queries import free_lots
from service.work_orders.cards import litres
from service.work_orders.kit_sheet import description_of

_ANY = 1  # a check has to name a job, and what a scan comes to does not depend on it
_ROUNDED = timedelta(seconds=1)
"""A day number becomes a moment to the second: earlier, so that nothing is called wrong a second too long."""


def check_sheet(connection: sa.Connection, caller: Caller, task: int, now: datetime) -> CheckSheet:
    """Of one open task, from what is known at `now`. Raises NotFound, and InTheWay where the task is done."""
    job = job_ahead(connection, CheckIn(task=task, fluid="any"), caller)
    wanted = wanted_for(connection, job)
    return CheckSheet(
        task=task,
        position="" if job.position is None else job.position["position"],
        system=job.system["system"],
        parts=[] if job.position is None else list(_parts(connection, wanted, now)),
        fluids=list(_fluids(connection, wanted, now)),
        room=_room(connection, job, now),
    )


def _parts(connection: sa.Connection, wanted: Wanted, now: datetime) -> Iterator[SheetPart]:
    """In the order in which they are to be taken; what is two things to the job stands as the first of them."""
    roles: dict[str, PartRole] = {wanted.part_number: PartRole.SPECIFIED}
    for part in wanted.alternates:
        roles.setdefault(part, PartRole.ALTERNATE)
    if wanted.seal_kit is not None:
        roles.setdefault(wanted.seal_kit, PartRole.SEAL_KIT)
    for part in wanted.kit_parts:
        roles.setdefault(part, PartRole.KIT_LINE)
    free = {(lot.part_number, lot.store, lot.lot): lot.quantity for lot in free_lots(connection, now)}
    for part, role in roles.items():
        scanned = scanned_as(connection, CheckIn(task=_ANY, part_number=part), wanted.fluid)
        objection, says = _told(shelf_check.element_findings(scanned, wanted, to_day(now)))
        yield SheetPart(
            part_number=part,
            role=role,
            description=description_of(connection, part),
            objection=objection,
            says=says,
            lots=[
                PartLot(
                    lot=row["lot"],
                    store=row["store"],
                    bin=row["bin"],
                    quantity=free.get((part, row["store"], row["lot"]), 0),
                    expires_at=row["expires_at"],
                )
                for row in _counts(connection, t.stock, t.stock.c.part_number == part)
            ],
        )


def _fluids(connection: sa.Connection, wanted: Wanted, now: datetime) -> Iterator[SheetFluid]:
    query = sa.select(t.fluids).order_by(t.fluids.c.fluid)
    listed = [fluid_of(row) for row in connection.execute(query).mappings()]
    for fluid in sorted(listed, key=lambda each: each.code != wanted.fluid.code):
        objection, says = _told(shelf_check.oil_findings(wanted.fluid, fluid))
        yield SheetFluid(
            fluid=fluid.code,
            name=fluid.name,
            objection=objection,
            says=says,
            lots=[] if objection is not None else list(_fluid_lots(connection, fluid, now)),
        )


def _fluid_lots(connection: sa.Connection, fluid: Fluid, now: datetime) -> Iterator[FluidLot]:
    left = {
        (lot.store, lot.lot, lot.container_L): lot.left_L
        for lot in oil_lots(connection, now)
        if lot.fluid == fluid.code
    }
    for row in _counts(connection, t.oil_stock, t.oil_stock.c.fluid == fluid.code):
        yield FluidLot(
            lot=row["lot"],
            store=row["store"],
            container=litres(row["container_L"]),
            left=litres(left.get((row["store"], row["lot"], row["container_L"]), 0.0)),
            expires_at=row["expires_at"],
        )


def _counts(connection: sa.Connection, table: sa.Table, which: sa.ColumnElement[bool]) -> Sequence[sa.RowMapping]:
    """The counts that hold, what expires first before the rest."""
    query = sa.select(table).where(current_rows(table), which)
    query = query.order_by(table.c.expires_at.is_(None), table.c.expires_at, table.c.store, table.c.lot)
    return connection.execute(query).mappings().all()


def _told(found: Sequence[Finding]) -> tuple[Objection | None, list[str]]:
    says = [each.says for each in found]
    if any(each.severity is shelf_check.Objection.REFUSE for each in found):
        return Objection.REFUSE, says
    return (Objection.ASK if found else None), says


def _not_above(volume_L: float) -> float:
    """Rounded down, so that what it allows is allowed."""
    return floor(volume_L * 1000.0) / 1000.0


def _room(connection: sa.Connection, job: JobAhead, now: datetime) -> PourRoom:
    """The bounds of `shelf_check.pour_findings`, for a pour that is not known yet."""
    look, reservoir_L = last_look(connection, job.system, now), job.system["reservoir_volume_L"]
    missing_L = look.seen.missing_L
    if not look.seen.valid or missing_L is None or look.day is None:
        let_out_L = min(job.let_out_L, reservoir_L)
        let_out = f" The job lets out {let_out_L:g} L, which may go back in." if let_out_L else ""
        return PourRoom(
            certain=litres(_not_above(let_out_L)),
            refused_until=None,
            reservoir=litres(reservoir_L),
            says=most_to_add(look.seen, reservoir_L).says + let_out,
        )
    room_L = round(missing_L - look.poured_since_L + job.let_out_L, 3)
    return PourRoom(
        certain=litres(max(room_L, 0.0)),
        refused_until=from_day(look.day + LOOK_HOLDS_D) - _ROUNDED,
        reservoir=litres(reservoir_L),
        says=most_to_add(LevelSeen(valid=True, missing_L=room_L, why_not=None), reservoir_L).says,
    )
