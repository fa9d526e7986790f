"""The job card as one page of HTML: black and white on A4, readable on a phone, with no key and no script in it."""

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import segno
import sqlalchemy as sa
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from api_schemas.work_orders import ExpectedAfter, Task, WorkOrder
from scheduler.vocabulary import DisplayUnits, Place, QuantityKind
from service.due.wording import Wording
from service.plant_folder import tables as t
from service.work_orders.cards import work_order
from service.work_orders.write_ins import not_asked, write_ins

_HERE = Path(__file__).parent
STYLE_FILE = _HERE / "card.css"
"""The look of a card; the page that a QR code opens uses it too."""

_pages = Environment(
    loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=StrictUndefined
)
_UNIT_APART = re.compile(r"(\d) (bar|psi|°C|°F|L/min|L|N·m|kg|mL|m|h)\b")
"""A number at the end of a line and its unit on the next are read wrongly."""

_pages.filters["unbroken"] = lambda text: _UNIT_APART.sub("\\1\u00a0\\2", text)

_EXPECTED_BESIDE = frozenset({"dp-after"})


@dataclass(frozen=True, slots=True)
class CardPage:
    """The page, and the headers with which it is answered."""

    html: str
    headers: dict[str, str]


def card_page(connection: sa.Connection, order_id: int, *, public_address: str | None) -> CardPage:
    """The card of one order; with a `public_address` a QR code of where it is found. Raises NotFound."""
    order = work_order(connection, order_id)
    system = _system(connection, order.system)
    places = _places(connection, [task.position for task in order.tasks])
    described = _descriptions(connection, order)
    wording = Wording(ZoneInfo(system["time_zone"]), DisplayUnits(system["display_units"] or DisplayUnits.METRIC))
    address = None if public_address is None else f"{public_address}/cards/{order.id}"
    style = _style(order.id)
    html = _pages.get_template("card.html").render(
        order=order,
        system=system,
        tasks=[_task(task, places.get(task.position), described, wording) for task in order.tasks],
        planned=_day(order.planned_for),
        stop=_stop(order),
        address=address,
        qr=None if address is None else segno.make_qr(address, error="m").svg_inline(omitsize=True),
        style=style,
    )
    return CardPage(html, _headers(style))


def _headers(style: str) -> dict[str, str]:
    """Nothing runs, nothing is fetched, nobody frames it, and no copy of the plant's data stays behind."""
    digest = b64encode(sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return {
        "Content-Security-Policy": f"{policy}; frame-ancestors 'none'",
        "Cache-Control": "no-store",
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
    }


def _style(order_id: int) -> str:
    """With the order's number at the foot of each sheet: sheets part at the machine."""
    foot = f'"Work order {order_id}, sheet " counter(page) " of " counter(pages)'
    return f"\n{STYLE_FILE.read_text(encoding='utf-8')}@page {{ @bottom-right {{ content: {foot} }} }}\n"


def _system(connection: sa.Connection, code: str) -> sa.RowMapping:
    query = (
        sa.select(
            t.systems,
            *(t.plants.c.time_zone, t.plants.c.display_units, t.plants.c.name.label("plant_name")),
            *(t.fluids.c.name.label("fluid_name"), t.fluids.c.family, t.fluids.c.grade),
        )
        .join(t.plants, t.plants.c.plant == t.systems.c.plant)
        .join(t.fluids, t.fluids.c.fluid == t.systems.c.fluid)
        .where(t.systems.c.system == code)
    )
    return connection.execute(query).mappings().one()


def _places(connection: sa.Connection, codes: Sequence[str]) -> dict[str, sa.RowMapping]:
    query = sa.select(t.positions).where(t.positions.c.position.in_(codes))
    return {row["position"]: row for row in connection.execute(query).mappings()}


def _descriptions(connection: sa.Connection, order: WorkOrder) -> dict[str, str]:
    """What the catalogue calls each part of the order's kits."""
    parts = {pick.part_number for task in order.tasks for pick in task.picks}
    found: dict[str, str] = {}
    for table in (t.parts, t.element_types):
        query = sa.select(table.c.part_number, table.c.description).where(table.c.part_number.in_(parts))
        found |= {row.part_number: row.description or "" for row in connection.execute(query)}
    return found


def _task(
    task: Task, position: sa.RowMapping | None, described: Mapping[str, str], wording: Wording
) -> dict[str, Any]:
    place = Place(position["place"]) if position is not None else Place.OTHER
    records = [step.records for step in task.steps]
    lines = write_ins(records, task.kind, place, wording.display_units)
    return {
        "task": task,
        "title": f"{task.kind.replace('_', ' ').capitalize()}{f': {task.position}' if task.position else ''}",
        "where": _where(position),
        "due": _day(task.due_at),
        "kit": _kit(task, described),
        # a look's first step says what was seen, so that it need not stand here too
        "reason": "" if any(step.key == "why" for step in task.steps) else task.reason,
        "steps": [
            {"step": step, "write": line, "expected": step.key in _EXPECTED_BESIDE and bool(task.expected_after)}
            for step, line in zip(task.steps, lines, strict=True)
        ],
        "expected": _expected(task.expected_after, wording),
        "not_asked": not_asked(records),
    }


def _where(position: sa.RowMapping | None) -> str:
    if position is None:
        return ""
    side = f"side {position['side']}" if position["side"] else ""
    told = (position["place"].replace("_", " "), (position["housing"] or "").strip(), side)
    return "; ".join(word for word in told if word)


def _kit(task: Task, described: Mapping[str, str]) -> list[dict[str, Any]]:
    """A line for each pick: how much, what, and from where, or why it is not there."""
    parts = [
        {
            "amount": f"{pick.quantity} ×",
            "what": pick.part_number,
            "more": _words(
                described.get(pick.part_number), pick.instead_of and f"instead of {pick.instead_of}", sep=", "
            ),
            "short": pick.store is None,
            "from": _shelf(pick.store, pick.bin, pick.lot, pick.arrives_at, pick.arrives_with),
        }
        for pick in task.picks
    ]
    oil = [
        {
            "amount": f"{pick.volume.value:g} L",
            "what": pick.fluid,
            "more": _words(pick.name, f"{pick.container.value:g} L container" if pick.container else None, sep=", "),
            "short": pick.store is None,
            "from": _shelf(pick.store, None, pick.lot, pick.arrives_at, pick.arrives_with),
        }
        for pick in task.oil
    ]
    return parts + oil


def _shelf(
    store: str | None, bin_: str | None, lot: str | None, arrives_at: datetime | None, arrives_with: str | None
) -> str:
    if store is not None:
        return _words(store, bin_, lot and f"lot {lot}", sep=", ")
    if arrives_at is None:
        return "SHORT: none on order"
    return f"SHORT: arrives {arrives_at:%Y-%m-%d} with {arrives_with}"


def _words(*told: str | None, sep: str) -> str:
    return sep.join(word for word in told if word)


def _expected(rows: Sequence[ExpectedAfter], wording: Wording) -> dict[str, Any]:
    """Oil temperatures and ranges in the units in which the plant's gauges show them; the unit of ΔP once."""
    cells = []
    unit = ""
    for row in rows:
        low, (high, _, unit) = wording.dp(row.low.value), wording.dp(row.high.value).rpartition(" ")
        temperature = wording.amount(row.oil_temperature.value, QuantityKind.TEMPERATURE)
        cells.append((temperature, f"{low.rpartition(' ')[0]} to {high}"))
    return {"unit": unit, "cells": cells, "flow": _flow(rows, wording)}


def _flow(rows: Sequence[ExpectedAfter], wording: Wording) -> str:
    if not rows or rows[0].flow is None:
        return ""
    return wording.amount(rows[0].flow.value, QuantityKind.FLOW)


def _day(moment: datetime) -> str:
    return f"{moment:%A}, {moment:%Y-%m-%d}"


def _stop(order: WorkOrder) -> str:
    if order.stop_starts_at is None or order.stop_ends_at is None:
        return ""
    return f"{order.stop_starts_at:%Y-%m-%d %H:%M} to {order.stop_ends_at:%Y-%m-%d %H:%M}"
