"""Known rows are found wherever they lie, and not asked for where none can be."""

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.database import Database
from service.plant_folder.folder import FolderRow
from service.plant_folder.ingest import Ingest
from service.plant_folder.known_rows import KnownRows
from service.plant_folder.layout import TABLE as LAYOUT
from service.plant_folder.tables import TABLE
from tests.service.plant_folder.kept_plant import current, kept, take_tables

FIRST = datetime(2026, 4, 1, tzinfo=UTC)


def reading(position: str, hour: int, **told: Any) -> dict[str, Any]:
    at = FIRST + timedelta(hours=hour)
    return {"position": position, "at": at, "at_is_date": False, "stage": "", "dp_bar": 1.5, **told}


def kept_reading(position: str, hour: int, **told: Any) -> dict[str, Any]:
    return reading(position, hour, recorded_at=FIRST, source="test", **told)


def insert(connection: sa.Connection, rows: list[dict[str, Any]]) -> None:
    with Ingest(connection, TABLE["dp_readings"]) as ingest:
        ingest.insert(rows)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with kept(tmp_path / "plant.sqlite") as opened:
        take_tables(opened, tmp_path / "first", dp_readings=None)
        with opened.writing() as connection:
            hours = [kept_reading("PRESS-R1", hour) for hour in range(0, 200, 2)]
            past = kept_reading("PRESS-R1", 51, superseded_at=FIRST + timedelta(days=9))
            insert(connection, [*hours, past])
        yield opened


def test_of_rows_in_any_order_exactly_the_known_ones_are_found(database: Database) -> None:
    asked = [reading(position, hour) for position in ("PRESS-R1", "PRESS-R2") for hour in range(-10, 250)]
    random.Random(20260401).shuffle(asked)  # noqa: S311 - no secret
    with database.writing() as connection:
        known = KnownRows(connection, LAYOUT["dp_readings"], before_asking=lambda: None)
        found = known.of([FolderRow(line, values) for line, values in enumerate(asked)])
        again = known.of([FolderRow(1, reading("PRESS-R1", 4))])
        known.close()
    expected = {("PRESS-R1", FIRST + timedelta(hours=hour), "") for hour in range(0, 200, 2)}
    assert set(found) == expected
    assert all(row["dp_bar"] == 1.5 and row["superseded_at"] is None for row in found.values())
    assert list(again) == [("PRESS-R1", FIRST + timedelta(hours=4), "")]


def test_where_no_row_can_be_known_only_the_spans_are_asked_for(database: Database) -> None:
    asked: list[str] = []
    with database.writing() as connection:
        sa.event.listen(connection, "before_cursor_execute", lambda *told: asked.append(told[2]))
        known = KnownRows(connection, LAYOUT["dp_readings"], before_asking=lambda: None)
        for hour in (200, 300, 400):
            assert known.of([FolderRow(1, reading("PRESS-R1", hour)), FolderRow(2, reading("PRESS-R2", hour))]) == {}
        known.close()
    assert [("LIMIT" in statement, "min(" in statement) for statement in asked] == [(True, False), (False, True)]


def test_moments_are_stored_as_the_columns_type_stores_them(database: Database) -> None:
    table = TABLE["dp_readings"]
    moments = [FIRST, FIRST + timedelta(microseconds=1), datetime(1900, 1, 1, tzinfo=UTC)]
    oslo_noon = datetime.fromisoformat("2026-07-05T12:00:00+02:00")
    with database.writing() as connection:
        stored = [kept_reading("PRESS-R2", 0) | {"at": at} for at in (*moments, oslo_noon)]
        insert(connection, stored)
        for row in stored:
            connection.execute(sa.insert(table), row | {"stage": "after"})
    pairs: dict[str, list[Any]] = {"": [], "after": []}
    with database.reading() as connection:
        text = sa.select(table.c.stage, sa.cast(table.c.at, sa.Text)).where(table.c.position == "PRESS-R2")
        for stage, at in connection.execute(text.order_by(table.c.at)):
            pairs[stage].append(at)
    assert len(pairs[""]) == 4
    assert pairs[""] == pairs["after"]
    after = {row["at"] for row in current(database, "dp_readings") if row["stage"] == "after"}
    assert after == {*moments, oslo_noon}


def test_a_column_that_no_row_names_is_null_and_one_that_some_name_too(database: Database) -> None:
    with database.writing() as connection:
        rows = [kept_reading("PRESS-R2", 1, notes={"x_round": "øst"}), kept_reading("PRESS-R2", 2)]
        insert(connection, rows)
    told = [
        (row["notes"], row["flow_lpm"]) for row in current(database, "dp_readings") if row["position"] == "PRESS-R2"
    ]
    assert told == [({"x_round": "øst"}, None), (None, None)]


def test_rows_of_several_shapes_come_in_beside_each_other_and_other_statements_between(database: Database) -> None:
    count = (
        sa.select(sa.func.count())
        .select_from(TABLE["dp_readings"])
        .where(TABLE["dp_readings"].c.superseded_at.is_(None))
    )
    with database.writing() as connection, Ingest(connection, TABLE["dp_readings"]) as ingest:
        ingest.insert([kept_reading("PRESS-R2", 1)])
        ingest.insert([kept_reading("PRESS-R2", 2)])
        ingest.insert([kept_reading("PRESS-R2", 3, flow_lpm=80.0)])
        ingest.finish()
        assert connection.scalar(count) == 103
        ingest.insert([kept_reading("PRESS-R2", 4)])
    told = {row["at"]: row["flow_lpm"] for row in current(database, "dp_readings") if row["position"] == "PRESS-R2"}
    assert told == {FIRST + timedelta(hours=hour): 80.0 if hour == 3 else None for hour in (1, 2, 3, 4)}


def test_an_error_between_rows_is_told_as_it_is_and_leaves_none_of_them(database: Database) -> None:
    def interrupted() -> None:
        with database.writing() as connection, Ingest(connection, TABLE["dp_readings"]) as ingest:
            ingest.insert([kept_reading("PRESS-R2", 1)])
            raise InterruptedError("the person at the terminal has enough")

    before = current(database, "dp_readings")
    with pytest.raises(InterruptedError, match="has enough"):
        interrupted()
    assert current(database, "dp_readings") == before


def test_a_table_without_rows_is_asked_only_once(database: Database) -> None:
    asked: list[str] = []
    with database.writing() as connection:
        sa.event.listen(connection, "before_cursor_execute", lambda *told: asked.append(told[2]))
        known = KnownRows(connection, LAYOUT["oil_samples"], before_asking=lambda: None)
        for line in (1, 2):
            assert known.of([FolderRow(line, {"system": f"PRESS{line}", "at": FIRST, "at_is_date": False})]) == {}
        known.close()
    assert len(asked) == 1
