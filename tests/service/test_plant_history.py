"""What the history cuts out for a moment is what loading at that moment finds: `load_plant` is the slow reference.

With it a short replay of the demo plant, which has every kind of fact.
"""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from service.database import Database, current_rows
from service.demo.loading import load_demo
from service.migrating import migrate
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede, withdraw
from service.plant_store.history import PlantHistory, load_history
from service.plant_store.loading import load_plant
from service.replay.assembling import assemble
from service.replay.sheets import steps_sheet
from service.replay.stepping import blocks_of, go_through, moments_of_steps, seen_of
from tests.databases import url_at

pytestmark = pytest.mark.one_database_is_enough

NOW = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)
LATE = NOW - timedelta(days=30, microseconds=7)
"""When facts of long before came to be known."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """The demo plant, to which a late end of a life, a late reading, a correction and a withdrawal were recorded."""
    database = Database(url_at(tmp_path_factory.mktemp("history") / "demo.sqlite"))
    migrate(database)
    load_demo(database, NOW, "test")
    with database.writing() as connection:
        for what in (_end_late, _correct_late, _read_late, _withdraw_late):
            what(connection)
    yield database
    database.close()


def _newest(connection: sa.Connection, table: sa.Table, *matches: sa.ColumnElement[bool]) -> sa.RowMapping:
    query = sa.select(table).where(current_rows(table), *matches).order_by(table.c.id.desc()).limit(1)
    return connection.execute(query).mappings().one()


def _end_late(connection: sa.Connection) -> None:
    row = _newest(connection, t.installations, t.installations.c.removed_at.is_(None))
    ended = {"removed_at": NOW - timedelta(days=60), "removed_at_is_date": False, "reason": "failure"}
    supersede(connection, t.installations, row, ended, recorded_at=LATE, source="test")


def _read_late(connection: sa.Connection) -> None:
    position = _newest(connection, t.dp_readings)["position"]
    told = {"position": position, "at": NOW - timedelta(days=200), "dp_bar": 1.2}
    record_fact(connection, "dp_readings", told, recorded_at=LATE, source="test")


def _correct_late(connection: sa.Connection) -> None:
    readings, lives = t.dp_readings, t.installations
    on_a_finished_life = sa.exists().where(
        *(lives.c.position == readings.c.position, current_rows(lives), lives.c.removed_at < LATE),
        *(lives.c.fitted_at < readings.c.at, lives.c.removed_at > readings.c.at),
    )
    row = _newest(connection, readings, on_a_finished_life, readings.c.dp_bar.is_not(None))
    supersede(connection, t.dp_readings, row, {"dp_bar": 0.123}, recorded_at=LATE, source="test")


def _withdraw_late(connection: sa.Connection) -> None:
    row = _newest(connection, t.meter_readings, t.meter_readings.c.at < NOW - timedelta(days=100))
    withdraw(connection, t.meter_readings, row, recorded_at=LATE)


def _history(database: Database) -> PlantHistory:
    with database.reading() as connection:
        return load_history(connection, NOW)


def _differences(one: Any, other: Any, where: str = "") -> list[str]:
    if is_dataclass(one):
        names = [each.name for each in fields(one)]
        pairs = [(getattr(one, name), getattr(other, name), f"{where}.{name}") for name in names]
        return [found for pair in pairs for found in _differences(*pair)]
    if isinstance(one, np.ndarray):
        same = one.dtype == other.dtype and np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    else:
        same = bool(one == other)
    return [] if same else [where]


def test_the_cut_at_any_moment_is_what_loading_at_that_moment_finds(demo: Database) -> None:
    days_ago = np.random.default_rng(5).uniform(0.0, 1250.0, 6)
    moments = [NOW - timedelta(days=ago_d) for ago_d in days_ago.tolist()]
    edges = [LATE, LATE - timedelta(microseconds=1), NOW, NOW - timedelta(days=4000)]
    history = _history(demo)
    with demo.reading() as connection:
        for moment in moments + edges:
            assert _differences(history.cut(moment), load_plant(connection, moment)) == [], moment


def test_moments_of_recorded_changes_are_cut_on_the_right_side(demo: Database) -> None:
    """At the very microsecond at which something was recorded it is known, and one before it is not."""
    history = _history(demo)
    with demo.reading() as connection:
        recorded = connection.scalars(
            sa.select(t.installations.c.recorded_at).order_by(t.installations.c.id).limit(3)
        ).all()
        for at in recorded:
            for moment in (at, at - timedelta(microseconds=1)):
                assert _differences(history.cut(moment), load_plant(connection, moment)) == [], moment


def test_what_was_recorded_late_is_not_in_the_past(demo: Database) -> None:
    history = _history(demo)
    before, after = history.cut(LATE - timedelta(microseconds=1)), history.cut(LATE)
    assert len(after.lives.position) == len(before.lives.position) + 1
    assert 0.123 in after.life_dp.dp_bar.tolist() + after.dp.dp_bar.tolist()
    assert 0.123 not in before.life_dp.dp_bar.tolist() + before.dp.dp_bar.tolist()
    assert len(after.meters.day) == len(before.meters.day) - 1


def test_a_difference_would_be_seen(demo: Database) -> None:
    history = _history(demo)
    found = _differences(history.cut(LATE), history.cut(LATE - timedelta(microseconds=1)))
    assert {".as_of_day", ".lives.reason", ".fitted.type"} <= set(found)


def test_a_short_replay_of_the_demo_plant_tells_of_forecasts_costs_and_diagnoses(demo: Database) -> None:
    """Four steps in half a year: enough for lives that ended in between, not for figures worth comparing."""
    history = _history(demo)
    moments = moments_of_steps(NOW - timedelta(days=180), NOW, 60.0)
    blocks = list(go_through(history, blocks_of(moments, 60.0)))
    steps = [seen_of(step) for block in blocks for step in block]
    columns = history.cut(NOW)
    found = assemble(columns, steps, None)
    assert len(steps) == 4
    assert found.positions == len(columns.positions.code)
    together = found.types[0]
    assert (together.part_number, together.by) == (None, "all")
    by_position = sum(each.reliability.lives_at_limit for each in found.by_position)
    assert together.reliability.lives_at_limit == by_position > 0
    assert found.lives >= together.reliability.lives_at_limit
    assert {each.code for each in found.diagnoses} == {each.code for each in found.raised}
    assert sum(each.raised for each in found.diagnoses) == len(found.raised)
    assert assemble(columns, steps, "QUILLMARSH") == found
    nothing = assemble(columns, steps, "ELSEWHERE")
    assert (nothing.positions, nothing.lives, nothing.raised) == (0, 0, [])
    sheet = steps_sheet(columns, steps, None)
    assert sheet.rows
    assert all(len(row) == len(sheet.columns) for row in sheet.rows)
