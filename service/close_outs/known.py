"""What is known around a close-out: what sits in the position, what its meter showed, what is specified."""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from scheduler.engineering.oil import Fluid
from scheduler.planning.close_out import Fitted, MeterSeen, Specified
from scheduler.statistics.run_hours import ReadingOutcome, cumulative_hours
from scheduler.vocabulary import YesNo
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import told_by
from service.plant_store.catalogue import fluid_of
from service.plant_store.lives import load_installations
from service.plant_store.meters import MeterObservation, load_meter_observations, mark_of
from service.plant_store.time import to_day

_DATE_ONLY_D = 0.5


def current_stay(connection: sa.Connection, position: str) -> sa.RowMapping | None:
    """The installation that is not ended."""
    stays = t.installations
    query = sa.select(stays).where(current_rows(stays), stays.c.position == position, stays.c.removed_at.is_(None))
    return connection.execute(query).mappings().one_or_none()


def last_removal(
    connection: sa.Connection, position: str, *, fitted_before: datetime | None = None
) -> datetime | None:
    """When the last element that is not there any more was taken out; of those `fitted_before` a moment."""
    stays = t.installations
    query = sa.select(sa.func.max(stays.c.removed_at)).where(current_rows(stays), stays.c.position == position)
    if fitted_before is not None:
        query = query.where(stays.c.fitted_at < fitted_before)
    removed_at: datetime | None = connection.scalar(query)
    return removed_at


def began_a_stay(connection: sa.Connection, position: str, at: datetime, source: str) -> bool:
    """Whether the job that `source` names put an element in, whatever became of it since."""
    stays = t.installations
    query = sa.select(stays.c.id).where(stays.c.position == position, stays.c.fitted_at == at, told_by(stays, source))
    return connection.execute(query).first() is not None


def is_cleanable(connection: sa.Connection, position: sa.RowMapping | None, stay: sa.RowMapping | None) -> bool:
    """Whether what sits in the position (else what belongs there) is cleaned and put back."""
    known = stay if stay is not None else position
    if known is None:
        return False
    types = t.element_types
    said = connection.scalar(sa.select(types.c.cleanable).where(types.c.part_number == known["part_number"]))
    return said == YesNo.YES


def fitted_of(stay: sa.RowMapping | None) -> Fitted | None:
    return None if stay is None else Fitted(stay["part_number"], to_day(stay["fitted_at"]))


def meter_around(
    connection: sa.Connection,
    system: str,
    meter: str,
    at: datetime,
    now: datetime,
    *,
    but: Sequence[MeterObservation] = (),
) -> tuple[MeterSeen | None, MeterSeen | None]:
    """The believed readings of the meter before and after `at`, `but` those that are being corrected.

    A typing error of the past refuses nobody.
    """
    scope = frozenset({system})
    found = load_meter_observations(connection, now, scope, load_installations(connection, now, scope))
    for each in but:
        if each in found:
            found.remove(each)
    own = sorted((each for each in found if each.meter == (system, meter)), key=lambda each: each.at)
    if not own:
        return None, None
    digits = connection.scalar(
        sa.select(t.meters.c.digits).where(t.meters.c.system == system, t.meters.c.meter == meter)
    )
    hours = cumulative_hours(
        [to_day(each.at) for each in own],
        [each.hours for each in own],
        [mark_of(each.kind) for each in own],
        digits=digits,
        is_date=[each.is_date for each in own],
    )
    wraps_at_h = None if digits is None else 10.0**digits
    day = to_day(at)
    before = after = None
    for each, outcome in zip(own, hours.outcome, strict=True):
        if outcome > ReadingOutcome.METER_RESET:
            continue
        seen = MeterSeen(to_day(each.at), each.hours, wraps_at_h)
        slack_d = _DATE_ONLY_D if each.is_date else 0.0  # of a bare date nobody knows whether it was before
        if seen.day <= day - slack_d:
            before = seen
        elif seen.day >= day + slack_d and after is None:
            after = seen
    return before, after


def specified_for(
    connection: sa.Connection, position: sa.RowMapping | None, system: str, part_number: str
) -> Specified:
    """What belongs into the position and the system; the seals are those of `part_number`."""
    fluid = (
        connection.execute(
            sa.select(t.fluids)
            .join(t.systems, t.systems.c.fluid == t.fluids.c.fluid)
            .where(t.systems.c.system == system)
        )
        .mappings()
        .one()
    )
    wanted = "" if position is None else position["part_number"]
    alternates = connection.scalars(sa.select(t.alternates.c.alternate).where(t.alternates.c.part_number == wanted))
    seals = connection.scalar(sa.select(t.element_types.c.seals).where(t.element_types.c.part_number == part_number))
    return Specified(wanted, tuple(alternates), seals or "", fluid_of(fluid))


def lot_expires(connection: sa.Connection, part_number: str, lot: str | None) -> datetime | None:
    """When the lot expires, as far as the store's counts say."""
    if lot is None:
        return None
    counts = t.stock
    query = sa.select(sa.func.max(counts.c.expires_at)).where(
        current_rows(counts), counts.c.part_number == part_number, counts.c.lot == lot
    )
    expires: datetime | None = connection.scalar(query)
    return expires


def fluid_told(connection: sa.Connection, code: str) -> Fluid:
    """The fluid of that code; one that the plant does not list is known by its code alone."""
    row = connection.execute(sa.select(t.fluids).where(t.fluids.c.fluid == code)).mappings().one_or_none()
    return Fluid(code, "not in the catalogue") if row is None else fluid_of(row)
