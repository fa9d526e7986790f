"""What lies in the stores as sheets: parts, and oil."""

from collections.abc import Sequence

from api_schemas.stock import OilOnShelf, PartOnShelf
from service.exports.sheet import Sheet, moments, numbers, texts
from service.exports.units import VolumeUnit

_PART_COLUMNS = (
    *texts("part_number", "description", "store", "bin", "lot"),
    *numbers("on_hand [pieces]", "held [pieces]"),
    *texts("held_for"),
    *moments("counted_at", "expires_at"),
    *texts("expired"),
)


def stock_sheets(items: Sequence[PartOnShelf | OilOnShelf], volumes: VolumeUnit) -> list[Sheet]:
    """Parts first, then oil; `held_for` names work orders."""
    parts = [item for item in items if item.what == "part"]
    oil = [item for item in items if item.what == "oil"]
    return [
        Sheet(
            "stock",
            _PART_COLUMNS,
            [
                (
                    *(item.part_number, item.description, item.store, item.bin, item.lot, item.on_hand, item.held),
                    _orders([(each.work_order, f"{each.quantity}") for each in item.held_for]),
                    *(item.counted_at, item.expires_at, "yes" if item.expired else "no"),
                )
                for item in parts
            ],
        ),
        Sheet(
            "oil",
            (
                *texts("fluid", "name", "store", "lot"),
                *numbers(f"container [{volumes.symbol}]", "containers", f"on_hand [{volumes.symbol}]"),
                *numbers(f"held [{volumes.symbol}]"),
                *texts("held_for"),
                *moments("counted_at", "opened_at", "expires_at"),
                *texts("expired"),
            ),
            [
                (
                    *(item.fluid, item.name, item.store, item.lot, volumes.shown(item.container.value)),
                    *(item.containers, volumes.shown(item.on_hand.value), volumes.shown(item.held.value)),
                    _orders([(each.work_order, f"{volumes.shown(each.volume.value):g}") for each in item.held_for]),
                    *(item.counted_at, item.opened_at, item.expires_at, "yes" if item.expired else "no"),
                )
                for item in oil
            ],
        ),
    ]


def _orders(held: Sequence[tuple[int | None, str]]) -> str:
    return "; ".join(
        f"work order {order}: {amount}" if order else f"another plant: {amount}" for order, amount in held
    )
