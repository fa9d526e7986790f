"""What a technician takes along for one order, in one answer and of one moment."""

from datetime import datetime, timedelta

import sqlalchemy as sa

from api_schemas.packs import Pack
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.work_orders.card_page import card_page
from service.work_orders.cards import work_order, zone_of
from service.work_orders.check_sheet import check_sheet
from service.work_orders.kit_sheet import kit_sheet

GOOD_FOR = timedelta(days=14)
"""Parts expire, fluids and specifications change: after two weeks a sheet is asked for again (ours)."""


def pack_of(
    connection: sa.Connection, order_id: int, *, caller: Caller, now: datetime, public_address: str | None
) -> Pack:
    """Raises NotFound. Whether the caller sees the order has been asked."""
    order = work_order(connection, order_id)
    zone = zone_of(connection, order.plant)
    return Pack(
        made_at=now.astimezone(zone),
        good_until=(now + GOOD_FOR).astimezone(zone),
        walking_order=connection.scalar(
            sa.select(t.systems.c.walking_order).where(t.systems.c.system == order.system)
        ),
        order=order,
        kit=kit_sheet(connection, order_id),
        card=card_page(connection, order_id, public_address=public_address).html,
        sheets=[check_sheet(connection, caller, task.id, now) for task in order.tasks if task.state == "open"],
    )
