"""The database tables of the plant folder, built from its layout.

Master data is keyed by its codes and updated in place. A fact keeps every version: the one that holds now has
no `superseded_at`, and `recorded_at`/`superseded_at` together say what was known on any past day.
"""

from typing import Any

import sqlalchemy as sa

from service.database import UtcTime, metadata
from service.plant_folder import layout
from service.plant_folder.layout import Column, TableLayout

_REFERRED_KEY = {"plants": "plant", "systems": "system", "fluids": "fluid", "positions": "position"}
_REFERRED_KEY |= {"parts": "part_number", "element_types": "part_number"}

_JSON = sa.JSON(none_as_null=True)
"""What was not told is NULL, in a later version of a fact as in the first."""


def _sql_columns(column: Column) -> list[sa.Column[Any]]:
    referred = column.refers_to if column.refers_to in _REFERRED_KEY else None
    if column.key and not column.required:
        referred = None  # an empty key column holds '' and refers to nothing
    foreign = [sa.ForeignKey(f"{referred}.{_REFERRED_KEY[referred]}")] if referred else []
    kept = sa.Column(column.field, _sql_type(column), *foreign, nullable=not (column.required or column.key))
    if isinstance(column.cell, layout.Moment):
        return [kept, sa.Column(f"{column.name}_is_date", sa.Boolean, nullable=not column.key)]
    return [kept]


def _sql_type(column: Column) -> sa.types.TypeEngine[Any]:
    match column.cell:
        case layout.Quantity() | layout.Number():
            return sa.Double()
        case layout.Pieces():
            return sa.Integer()
        case layout.Money():
            return sa.BigInteger()
        case layout.Moment():
            return UtcTime()
        case layout.WordList():
            return _JSON
        case _:
            return sa.Text()


def _build(table: TableLayout) -> sa.Table:
    columns = [sql for column in table.columns for sql in _sql_columns(column)]
    columns += [sa.Column("external_ref", sa.Text), sa.Column("notes", _JSON)]
    keys = [column.field for column in table.key]
    if not table.is_fact:
        return sa.Table(table.name, metadata, *columns, sa.PrimaryKeyConstraint(*keys))
    built = sa.Table(
        table.name,
        metadata,
        sa.Column("id", sa.Integer, primary_key=True),
        *columns,
        sa.Column("recorded_at", UtcTime, nullable=False),
        sa.Column("superseded_at", UtcTime),
        sa.Column("source", sa.Text, nullable=False),
    )
    holds_now = built.c.superseded_at.is_(None)
    sa.Index(
        f"uq_{table.name}_holds_now",
        *(built.c[key] for key in keys),
        unique=True,
        sqlite_where=holds_now,
        postgresql_where=holds_now,
    )
    sa.Index(f"ix_{table.name}_versions", built.c[keys[0]], built.c.recorded_at)
    return built


TABLE: dict[str, sa.Table] = {table.name: _build(table) for table in layout.TABLES}

plants = TABLE["plants"]
fluids = TABLE["fluids"]
systems = TABLE["systems"]
meters = TABLE["meters"]
element_types = TABLE["element_types"]
element_curves = TABLE["element_curves"]
parts = TABLE["parts"]
positions = TABLE["positions"]
kit_lines = TABLE["kit_lines"]
alternates = TABLE["alternates"]
installations = TABLE["installations"]
meter_readings = TABLE["meter_readings"]
dp_readings = TABLE["dp_readings"]
oil_samples = TABLE["oil_samples"]
events = TABLE["events"]
findings = TABLE["findings"]
level_checks = TABLE["level_checks"]
top_ups = TABLE["top_ups"]
stock = TABLE["stock"]
oil_stock = TABLE["oil_stock"]
supply = TABLE["supply"]
stops = TABLE["stops"]
