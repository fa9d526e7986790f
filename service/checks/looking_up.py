"""What is on record for a check: the job, what it needs, and what the plant knows of the things that were scanned."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from api_schemas.checks import CheckIn
from api_schemas.problems import MemberProblem
from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_level import LevelSeen, level_check
from scheduler.planning.kits import RENEWS
from scheduler.planning.shelf_check import Look, Scanned, Wanted, bare_name
from scheduler.vocabulary import Access, TaskKind, YesNo
from service.close_outs.effects import canonical
from service.close_outs.known import fluid_told, lot_expires
from service.database import current_rows
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.catalogue import fluid_of, load_alternates
from service.plant_store.time import to_day
from service.problems import BadInput, CannotBeTrue, InTheWay, NotFound
from service.work_orders.tables import tasks

_NOBODY = "nobody has looked at the level"
_SAME_CONTAINER = 0.01
"""Of a container's litres: a drum is told as 208 L or as 55 gal (ours)."""


@dataclass(frozen=True, slots=True)
class JobAhead:
    """What is about to be done. `position` None: on the whole system; `kind` None: nobody planned it."""

    task: int | None
    system: sa.RowMapping
    position: sa.RowMapping | None
    kind: TaskKind | None

    @property
    def let_out_L(self) -> float:
        """What the work lets out: the housing's content, or the reservoir's where it has to be drained."""
        if self.position is None or (self.kind is not None and self.kind not in RENEWS):
            return 0.0
        if self.position["access"] == Access.DRAINED:
            return float(self.system["reservoir_volume_L"])
        return float(self.position["housing_volume_L"] or 0.0)


def job_ahead(connection: sa.Connection, told: CheckIn, caller: Caller) -> JobAhead:
    """Raises NotFound for an unknown task, CannotBeTrue for an unknown place, InTheWay for what is done already.

    What the caller does not see is unknown.
    """
    kind = None
    system, position = told.system, told.position
    if told.task is not None:
        query = sa.select(tasks).where(tasks.c.id == told.task, caller.only_systems(tasks.c.system))
        row = connection.execute(query).mappings().one_or_none()
        if row is None:
            raise NotFound(f"there is no task {told.task}")
        if row["state"] == "done":
            raise InTheWay(f"task {told.task} is done; what was really used is told by its close-out")
        kind, system, position = TaskKind(row["kind"]), row["system"], row["position"] or None
    place = None if position is None else _named(connection, caller, "position", t.positions, position)
    if place is not None:
        system = place["system"]
    job = JobAhead(told.task, _named(connection, caller, "system", t.systems, str(system)), place, kind)
    if job.position is None and told.part_number is not None:
        says = "a part belongs to a position: say which"
        raise BadInput(says, [MemberProblem(member="part_number", value=told.part_number, says=says)])
    return job


def _named(connection: sa.Connection, caller: Caller, member: str, table: sa.Table, code: str) -> sa.RowMapping:
    query = sa.select(table).where(table.c[member] == code, caller.only_systems(table.c.system))
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        says = f"there is no {member} '{code}'"
        raise CannotBeTrue(says, [MemberProblem(member=member, value=code, says=says)])
    return row


def wanted_for(connection: sa.Connection, job: JobAhead) -> Wanted:
    """What the job needs; of a whole system the fluid alone."""
    fluids = t.fluids
    specified = connection.execute(sa.select(fluids).where(fluids.c.fluid == job.system["fluid"])).mappings().one()
    if job.position is None:
        return Wanted("", (), fluid_of(specified))
    part, types, lines = job.position["part_number"], t.element_types, t.kit_lines
    in_kit = sa.select(lines.c.part_number).where(lines.c.position == job.position["position"])
    alternates = load_alternates(connection).get(part, ())
    their_seals = sa.select(types.c.seal_kit).where(
        types.c.part_number.in_(alternates), types.c.seal_kit.is_not(None)
    )
    return Wanted(
        part_number=part,
        alternates=alternates,
        fluid=fluid_of(specified),
        seal_kit=connection.scalar(sa.select(types.c.seal_kit).where(types.c.part_number == part)),
        kit_parts=tuple(sorted({*connection.scalars(in_kit), *connection.scalars(their_seals)})),
    )


def scanned_as(connection: sa.Connection, told: CheckIn, specified: Fluid) -> Scanned:
    """What was read, with what the catalogue and the store know of it. A code that nobody knows stays a bare code."""
    types = t.element_types
    part = (
        connection.execute(sa.select(types).where(types.c.part_number == told.part_number)).mappings().one_or_none()
    )
    fluid = _fluid_of(connection, told, specified)
    expires_at = None if told.part_number is None else lot_expires(connection, told.part_number, told.lot)
    container_L = canonical(told.container)
    return Scanned(
        part_number=told.part_number,
        seals=None if part is None else part["seals"],
        media=None if part is None else part["media"],
        lot=told.lot,
        lot_expires_day=None if expires_at is None else to_day(expires_at),
        fluid=fluid,
        maker_name=told.label,
        container_L=container_L,
        fluid_expires_day=None
        if fluid is None
        else _oil_expires(connection, fluid.code, told.fluid_lot, container_L),
    )


def _fluid_of(connection: sa.Connection, told: CheckIn, specified: Fluid) -> Fluid | None:
    """By its code, or by the name that the plant gives it: of several so named the specified one."""
    if told.fluid is None and told.label is None:
        return None
    if told.fluid is not None:
        return fluid_told(connection, told.fluid)
    label = bare_name(told.label or "")
    query = sa.select(t.fluids).order_by(t.fluids.c.fluid)
    known = [fluid_of(row) for row in connection.execute(query).mappings()]
    named = [fluid for fluid in known if label in (bare_name(fluid.name or ""), bare_name(fluid.code))]
    return specified if specified in named else next(iter(named), None)


def _oil_expires(connection: sa.Connection, fluid: str, lot: str | None, container_L: float | None) -> float | None:
    """The day on which the lot expires, as far as the store's counts say; of the container's size, if it has that."""
    if lot is None:
        return None
    counts = t.oil_stock
    query = sa.select(counts).where(current_rows(counts), counts.c.fluid == fluid, counts.c.lot == lot)
    rows = list(connection.execute(query).mappings())
    if container_L is not None:
        of_size = [row for row in rows if abs(row["container_L"] - container_L) <= _SAME_CONTAINER * container_L]
        rows = of_size or rows
    return max((to_day(row["expires_at"]) for row in rows if row["expires_at"] is not None), default=None)


def last_look(connection: sa.Connection, system: sa.RowMapping, at: datetime) -> Look:
    """The newest look before `at` that counts and says litres; else the newest of all, with why it does not count."""
    looks, code = t.level_checks, system["system"]
    query = sa.select(looks).where(current_rows(looks), looks.c.system == code, looks.c.at <= at)
    seen = [
        (row["at"], _seen(row, system["reservoir_volume_L"]))
        for row in connection.execute(query.order_by(looks.c.at.desc())).mappings()
    ]
    counting = [(when, look) for when, look in seen if look.valid and look.missing_L is not None]
    if not counting:
        return Look(seen[0][1] if seen else LevelSeen(valid=False, missing_L=None, why_not=_NOBODY))
    when, look = counting[0]
    poured = t.top_ups
    query = sa.select(sa.func.sum(poured.c.volume_L)).where(
        current_rows(poured), poured.c.system == code, poured.c.at >= when, poured.c.at <= at
    )
    return Look(look, to_day(when), float(connection.scalar(query) or 0.0))


def _seen(row: sa.RowMapping, reservoir_volume_L: float) -> LevelSeen:
    by_share = row["level_pct"] is not None
    below_full_L = None if by_share else row["volume_below_full_L"]
    if below_full_L is not None and abs(below_full_L) > reservoir_volume_L:  # the reservoir was corrected since
        why_not = f"{below_full_L:g} L below full is more than the reservoir's {reservoir_volume_L:g} L"
        return LevelSeen(valid=False, missing_L=None, why_not=why_not)
    return level_check(
        at_rest=row["at_rest"] == YesNo.YES,
        defined_position=row["defined_position"] == YesNo.YES,
        reservoir_volume_L=reservoir_volume_L,
        level_pct=row["level_pct"],
        below_full_L=below_full_L,
    )
