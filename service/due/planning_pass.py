"""A planning pass in one write transaction: of the whole installation, or of the systems that something changed."""

import time
from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa

from scheduler.cycle import run_cycle
from scheduler.planning.pipeline import Known, Planned
from service.calibration.keeping import keep_calibration
from service.demand.keeping import keep_forecasts, periods_to_keep
from service.diagnoses.keeping import keep_diagnoses
from service.due.items import due_row, notes_by_position
from service.due.news import newest_facts
from service.due.priors import keep_priors, kept_priors
from service.due.tables import due_items, passes
from service.due.telling import keep_moves
from service.plant_store.loading import load_plant
from service.stock.queries import kit_specs
from service.stock.shelves import load_shelves
from service.work_orders.picking import save_picks
from service.work_orders.planning import looks_done, open_work, save_work

_KEPT_PASSES = 5
"""Due lists that are kept, so that a page of an earlier one can still be turned."""


@dataclass(frozen=True, slots=True)
class Pass:
    """A pass that was run and kept."""

    id: int
    as_of: datetime
    positions: int
    took_s: float


def run_pass(
    connection: sa.Connection,
    *,
    as_of: datetime,
    now: datetime,
    cause: str,
    by: str,
    slot: datetime | None = None,
    systems: frozenset[str] | None = None,
) -> Pass:
    """Plan and keep. With `systems`, only theirs is computed anew and the rest carried on from the last pass.

    What the lives teach is learned by a pass of the whole; a pass of some systems uses what the last one left.
    """
    began = time.perf_counter()
    previous = last_pass_id(connection)
    scope = systems if previous is not None else None
    kept: list[Pass] = []

    forecast_for = periods_to_keep(connection, as_of) if scope is None else None

    def load() -> Known:
        known = load_known(connection, as_of, scope)
        return known if forecast_for is None else replace(known, demand_edge_d=forecast_for.edge_d())

    def save(known: Known, planned: Planned) -> None:
        kept.append(_keep(connection, known, planned, as_of, now, cause, by, slot, scope, previous, began))
        if forecast_for is not None:
            keep_forecasts(connection, as_of, forecast_for, planned.demand)

    run_cycle(load, save)
    return kept[0]


def load_known(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None = None, *, learns: bool = True
) -> Known:
    """Everything that a pass decides from, as it was known at `as_of`.

    Of some systems, or where nothing is to be learned, with the priors that the last pass of the whole left.
    """
    columns = load_plant(connection, as_of, systems)
    orders, open_tasks = open_work(connection)
    return Known(
        columns=columns,
        prior=kept_priors(connection, columns) if systems is not None or not learns else None,
        orders=orders,
        tasks=open_tasks,
        kits=kit_specs(connection, columns.alternates),
        shelves=load_shelves(connection, as_of),
        looked_day=looks_done(connection),
    )


def last_pass_id(connection: sa.Connection) -> int | None:
    """The newest pass, None before the first."""
    found: int | None = connection.scalar(sa.select(sa.func.max(passes.c.id)))
    return found


def _keep(
    connection: sa.Connection,
    known: Known,
    planned: Planned,
    as_of: datetime,
    now: datetime,
    cause: str,
    by: str,
    slot: datetime | None,
    scope: frozenset[str] | None,
    previous: int | None,
    began: float,
) -> Pass:
    took_s = round(time.perf_counter() - began, 3)
    inserted = connection.execute(
        sa.insert(passes).values(
            as_of=as_of,
            recorded_at=now,
            cause=cause,
            by=by,
            slot=slot,
            took_s=took_s,
            positions=0,
            newest_facts=newest_facts(connection, as_of),
        )
    ).inserted_primary_key
    assert inserted is not None  # noqa: S101 - an insert of one row has its key
    pass_id = int(inserted[0])
    if scope is not None and previous is not None:
        _carry_on(connection, previous, pass_id, scope)
    standing = keep_diagnoses(connection, known.columns, planned.diagnoses, now)
    by_position = notes_by_position(known.columns, planned.diagnoses, standing)
    rows = [
        {"pass_id": pass_id, **due_row(known.columns, item, by_position.get(item.position, []), as_of)}
        for item in planned.items
    ]
    if rows:
        connection.execute(sa.insert(due_items), rows)
    keep_moves(connection, pass_id, as_of, rows, scope)
    if scope is None:
        keep_priors(connection, known.columns, planned.prior)
        keep_calibration(connection, known.columns, planned.calibration, as_of)
    save_work(connection, planned.work, now, by)
    save_picks(connection, planned.picks, planned.oil_picks)
    count = connection.scalar(sa.select(sa.func.count()).where(due_items.c.pass_id == pass_id)) or 0
    connection.execute(sa.update(passes).where(passes.c.id == pass_id).values(positions=count))
    connection.execute(sa.delete(due_items).where(due_items.c.pass_id <= pass_id - _KEPT_PASSES))
    return Pass(pass_id, as_of, count, took_s)


def _carry_on(connection: sa.Connection, previous: int, pass_id: int, scope: frozenset[str]) -> None:
    names = [column.name for column in due_items.c if column.name != "pass_id"]
    rest = sa.select(sa.literal(pass_id), *(due_items.c[name] for name in names)).where(
        due_items.c.pass_id == previous, due_items.c.system.not_in(sorted(scope))
    )
    connection.execute(sa.insert(due_items).from_select(["pass_id", *names], rest))
