"""What was recorded about positions since a pass: in the tables of facts, and in what imports changed of master data.

News is told by the order in which rows were written, not by their dates: a reading that is imported today may be
dated, and counted as known, before the last pass, which all the same could not know it.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any

import sqlalchemy as sa

from scheduler.planning.moves import MasterChange, News, Recorded
from service.database import rows_known_at
from service.imports.tables import imports
from service.plant_folder import layout
from service.plant_folder.cell_writing import amount
from service.plant_folder.tables import TABLE
from service.plant_store.time import to_day

Row = Mapping[str, Any] | sa.RowMapping

_AT_ONCE = 400
_MOST_CORRECTIONS = 5
"""Of one table at one position: the newest are told."""

_FACTS: dict[str, tuple[str, ...]] = {
    "installations": ("position",),
    "dp_readings": ("position",),
    "meter_readings": ("system", "meter"),
    "events": ("system", "kind"),
    "oil_samples": ("system",),
}
"""The tables whose facts move due dates, and what their facts are counted by."""

_DECIDING: dict[str, frozenset[str]] = {
    "plants": frozenset({"risk", "currency"}),
    "systems": frozenset(
        {"status", "fluid", "working_temperature_degC", "coldest_start_degC", "hours_per_week"}
        | {"cleanliness_target", "most_sensitive", "working_pressure_bar"}
        | {"stop_cost_minor", "labour_cost_minor", "late_cost_minor"}
    ),
    "fluids": frozenset(
        {"grade", "viscosity_40_mm2_s", "viscosity_100_mm2_s", "viscosity_index", "density_15_kg_m3"}
    ),
    "element_types": frozenset(
        {"kind", "clean_dp_bar", "rated_flow_lpm", "rated_viscosity_mm2_s", "beta", "price_minor", "currency"}
    ),
    "positions": frozenset(
        {"system", "place", "part_number", "quantity", "housing", "side", "meter", "flow_lpm", "terminal_dp_bar"}
        | {"indicator_dp_bar", "bypass", "bypass_dp_bar", "housing_dp_bar", "vacuum_limit_bar", "inlet_head_m"}
        | {"shut_at_start", "max_hours", "max_age_d", "access", "status"}
    ),
}
"""The columns of master data that a due date is computed from."""


@dataclass(frozen=True, slots=True)
class Subject:
    """A position that is asked about, and what it is called by in each table. `since` is `newest_facts` of a pass."""

    position: str
    system: str
    meter: str
    plant: str
    currency: str
    fluid: str
    part_numbers: frozenset[str]
    pass_id: int
    since: Mapping[str, int]

    def is_called(self, table: str, key: str) -> bool:
        """Whether a row of master data is this position's."""
        match table:
            case "plants":
                return key == self.plant
            case "systems":
                return key == self.system
            case "fluids":
                return key == self.fluid
            case "positions":
                return key == self.position
            case _:
                return key in self.part_numbers


@dataclass(slots=True)
class _Found:
    recorded: dict[tuple[str, ...], list[Recorded]] = field(default_factory=lambda: defaultdict(list))


def newest_facts(connection: sa.Connection, as_of: datetime) -> dict[str, int]:
    """The newest row of each table that could be known at `as_of`, 0 for none."""
    tables = {name: TABLE[name] for name in _FACTS} | {"imports": imports}
    newest = {
        name: connection.scalar(
            sa.select(table.c.id).where(table.c.recorded_at <= as_of).order_by(table.c.id.desc()).limit(1)
        )
        for name, table in tables.items()
    }
    return {name: row or 0 for name, row in newest.items()}


def news_of(connection: sa.Connection, subjects: Iterable[Subject], as_of: datetime) -> dict[str, News]:
    """For each subject, by its position, what was recorded since its pass and is known at `as_of`."""
    news: dict[str, News] = {}
    ordered = sorted(subjects, key=lambda subject: subject.pass_id)
    for _, of_one_pass in groupby(ordered, key=lambda subject: subject.pass_id):
        together = list(of_one_pass)
        outcomes = _outcomes_since(connection, together[0].since, as_of)
        for begin in range(0, len(together), _AT_ONCE):
            some = together[begin : begin + _AT_ONCE]
            found = _facts_since(connection, some, as_of)
            for subject in some:
                news[subject.position] = _news_of_one(subject, found, outcomes)
    return news


def _news_of_one(subject: Subject, found: _Found, outcomes: list[dict[str, Any]]) -> News:
    recorded = [
        fact
        for (table, *owner), facts in found.recorded.items()
        if owner[0] == (subject.position if _FACTS[table][0] == "position" else subject.system)
        and (table != "meter_readings" or owner[1] == subject.meter)
        for fact in facts
    ]
    changes = [
        MasterChange(each["table"], each["key"], each["column"], *_as_written(each, subject.currency))
        for outcome in outcomes
        for each in outcome["changes"]
        if each["column"] in _DECIDING.get(each["table"], ()) and subject.is_called(each["table"], each["key"])
    ]
    stops = sum(outcome["tables"].get("stops", {}).get("added", 0) for outcome in outcomes)
    return News(tuple(recorded), tuple(changes), stops)


def _as_written(change: Mapping[str, str], currency: str) -> tuple[str, str]:
    """What stood there and what stands there now; money, which is kept in minor units, as the plant writes it."""
    earlier, new = change["earlier"], change["new"]
    if change["column"].endswith("_minor"):
        earlier, new = (amount(int(minor), currency) if minor else "" for minor in (earlier, new))
    return earlier, new


def _outcomes_since(connection: sa.Connection, since: Mapping[str, int], as_of: datetime) -> list[dict[str, Any]]:
    query = (
        sa.select(imports.c.outcome)
        .where(imports.c.id > since.get("imports", 0), imports.c.recorded_at <= as_of)
        .order_by(imports.c.id)
    )
    return list(connection.scalars(query))


def _facts_since(connection: sa.Connection, subjects: Sequence[Subject], as_of: datetime) -> _Found:
    found = _Found()
    for name, owner in _FACTS.items():
        codes = sorted({getattr(subject, owner[0]) for subject in subjects})
        known = subjects[0].since.get(name, 0)
        if (connection.scalar(sa.select(sa.func.max(TABLE[name].c.id))) or 0) <= known:
            continue  # most passes follow one fact, and asking each table what became of it takes a while
        for key, recorded in _corrections(connection, name, codes, known, as_of):
            of_key = found.recorded[key]
            of_key.append(recorded)
            del of_key[:-_MOST_CORRECTIONS]
        for key, recorded in _fresh(connection, name, codes, known, as_of):
            found.recorded[key].append(recorded)
    return found


def _same_fact(table: sa.Table, earlier: sa.FromClause) -> sa.ColumnElement[bool]:
    return sa.and_(*(table.c[key.field] == earlier.c[key.field] for key in layout.TABLE[table.name].key))


def _at_of(table: sa.Table) -> sa.ColumnElement[Any]:
    return table.c["fitted_at" if table.name == "installations" else "at"]


def _fresh(
    connection: sa.Connection, name: str, codes: list[str], known: int, as_of: datetime
) -> Iterator[tuple[tuple[str, ...], Recorded]]:
    """Facts that were not known in any version: how many, and the newest."""
    table, earlier = TABLE[name], TABLE[name].alias("earlier")
    owner = [table.c[column] for column in _FACTS[name]]
    corrects = sa.exists().where(_same_fact(table, earlier), earlier.c.id <= known)
    by_age = (_at_of(table).desc(), table.c.id.desc())
    ranked = (
        sa.select(
            table,
            sa.func.count().over(partition_by=owner).label("facts"),
            sa.func.row_number().over(partition_by=owner, order_by=by_age).label("from_newest"),
        )
        .where(owner[0].in_(codes), table.c.id > known, rows_known_at(table, as_of), ~corrects)
        .subquery()
    )
    for row in connection.execute(sa.select(ranked).where(ranked.c.from_newest == 1)).mappings():
        yield _key(name, row), Recorded(name, _values(table, row), row["facts"])


def _corrections(
    connection: sa.Connection, name: str, codes: list[str], known: int, as_of: datetime
) -> Iterator[tuple[tuple[str, ...], Recorded]]:
    """Facts that were known and say something else now, with the values that were known; the newest fact last."""
    table, earlier = TABLE[name], TABLE[name].alias("earlier")
    before = [column.label(f"earlier {column.name}") for column in earlier.c]
    query = (
        sa.select(table, *before)
        .join(earlier, _same_fact(table, earlier))
        .where(table.c[_FACTS[name][0]].in_(codes), table.c.id > known, rows_known_at(table, as_of))
        .where(earlier.c.id <= known)
        .order_by(_at_of(table), table.c.id, earlier.c.id)
    )
    rows = connection.execute(query).mappings()
    last_known = {row["id"]: row for row in rows}  # of several earlier versions the last was known
    for row in last_known.values():
        was = {column.name: row[f"earlier {column.name}"] for column in table.c}
        yield _key(name, row), Recorded(name, _values(table, row), earlier=_values(table, was))


def _key(name: str, row: Row) -> tuple[str, ...]:
    return (name, *(row[column] or "" for column in _FACTS[name]))


def _values(table: sa.Table, row: Row) -> dict[str, Any]:
    """What the fact says, moments as days."""
    told: dict[str, Any] = {}
    for column in table.c:
        value = row[column.name]
        if value in (None, "") or column.name in _OF_THE_VERSION or column.name.endswith("_is_date"):
            continue
        if isinstance(value, datetime):
            told[f"{column.name}_day"] = to_day(value)
        else:
            told[column.name] = value
    return told


_OF_THE_VERSION = frozenset({"id", "recorded_at", "superseded_at", "notes", "external_ref"})
