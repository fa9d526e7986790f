"""What the four kinds of master data have in common and where they differ: table, key, and whose they are."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from service.keys.keeping import Caller
from service.plant_folder import layout
from service.plant_folder import tables as t
from service.plant_folder.known import Known
from service.plant_folder.known_now import terms_now
from service.plant_folder.layout import TableLayout
from service.plant_folder.register import Register
from service.plant_folder.tables import TABLE
from service.plant_folder.told_rows import NOTES, wire_value
from service.problems import NotFound


@dataclass(frozen=True, slots=True)
class Resource:
    """One kind. `is_shared` where it belongs to no plant: read by every key, written by those of all plants."""

    layout: TableLayout
    noun: str
    path: str
    is_shared: bool

    @property
    def table(self) -> sa.Table:
        return TABLE[self.layout.name]

    @property
    def key(self) -> str:
        return self.layout.key[0].name

    @property
    def code(self) -> sa.Column[Any]:
        return self.table.c[self.key]

    def rows_of(self, caller: Caller) -> sa.Select[Any]:
        """The rows that exist for the caller, each with its `plant`, '' where it has none."""
        if self.layout is layout.SYSTEMS:
            return sa.select(self.table).where(caller.only(t.systems.c.plant))
        if self.layout is layout.POSITIONS:
            own = self.table.join(t.systems, t.systems.c.system == t.positions.c.system)
            return sa.select(self.table, t.systems.c.plant).select_from(own).where(caller.only(t.systems.c.plant))
        return sa.select(self.table)


SYSTEMS = Resource(layout.SYSTEMS, "system", "systems", is_shared=False)
POSITIONS = Resource(layout.POSITIONS, "position", "positions", is_shared=False)
ELEMENT_TYPES = Resource(layout.ELEMENT_TYPES, "element type", "element-types", is_shared=True)
FLUIDS = Resource(layout.FLUIDS, "fluid", "fluids", is_shared=True)


def is_recorded(connection: sa.Connection, resource: Resource, code: str) -> bool:
    """Whether anybody has it."""
    return connection.scalar(sa.select(resource.code).where(resource.code == code)) is not None


def found(connection: sa.Connection, resource: Resource, code: str, caller: Caller) -> dict[str, Any]:
    """It as the wire tells it. Raises NotFound where it does not exist for the caller."""
    row = connection.execute(resource.rows_of(caller).where(resource.code == code)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no {resource.noun} '{code}'")
    return Wording(connection, resource).told(row)


class Wording:
    """Tells rows in the money of their plants."""

    def __init__(self, connection: sa.Connection, resource: Resource) -> None:
        self._resource = resource
        self._register = Register(Known(plants=terms_now(connection)))

    def told(self, row: sa.RowMapping) -> dict[str, Any]:
        """What is known of the row, by member."""
        terms = self._register.terms({"plant": str(row.get("plant") or "")})
        if row.get("currency"):
            terms = terms._replace(currency=row["currency"])
        told = {
            column.name: wire_value(column, row[column.field], terms)
            for column in self._resource.layout.columns
            if row[column.field] is not None
        }
        return told | {name: row[name] for name in ("external_ref", NOTES) if row[name]}


def etag_of(told: Mapping[str, Any]) -> str:
    """Strong: the same item, the same tag, whenever and wherever it is asked for."""
    return f'"{hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:32]}"'
