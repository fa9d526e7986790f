"""What the lives teach on the demo plant: readings go to the life on which they were taken, and nothing is
relearned."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa

from scheduler.planning.comparable_readings import instruments
from scheduler.planning.duty import assess_duty
from scheduler.planning.learning import learn_from_lives
from scheduler.statistics.load_grid import shape_table
from scheduler.statistics.makers_curve import is_makers, makers_code
from service.database import Database
from service.demo.catalogue import CURVE_POINTS
from service.demo.loading import load_demo
from service.due.planning_pass import load_known, run_pass
from service.due.priors import kept_priors
from service.due.tables import due_items, life_priors
from service.migrating import migrate
from service.plant_folder import tables as t
from service.plant_store.loading import load_plant
from tests.databases import url_at

pytestmark = pytest.mark.one_database_is_enough

NOW = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    database = Database(url_at(tmp_path_factory.mktemp("learning") / "demo.sqlite"))
    migrate(database)
    load_demo(database, NOW, "test")
    with database.writing() as connection:
        run_pass(connection, as_of=NOW, now=NOW, cause="test", by="test")
    yield database
    database.close()


def test_every_reading_goes_to_the_element_that_sat_there_and_none_is_lost(demo: Database) -> None:
    with demo.reading() as connection:
        columns = load_plant(connection, NOW)
        read = connection.execute(sa.select(t.dp_readings.c.position, t.dp_readings.c.at)).all()
        stays = connection.execute(
            sa.select(t.installations.c.position, t.installations.c.fitted_at, t.installations.c.removed_at)
        ).all()
    begins = {
        position: min(fitted for at, fitted, _ in stays if at == position) for position in {at for at, *_ in stays}
    }
    a_day = timedelta(days=1)
    owed = [at for position, at in read if position in begins and at >= begins[position] - a_day]
    dealt = np.concatenate([columns.dp.day, columns.life_dp.day])
    assert len(columns.life_dp.day) > 0.2 * len(dealt)  # the demo plant has a past
    assert len(set(dealt.tolist())) == len({round(at.timestamp() / 86400.0, 9) for at in owed})
    lives = columns.lives
    of_life = np.repeat(np.arange(len(lives.position)), np.diff(columns.life_dp.offsets))
    assert np.all(columns.life_dp.day >= lives.fitted_day[of_life] - 1.0)
    assert np.all(columns.life_dp.day <= lives.removed_day[of_life] + 1.0)


def test_what_a_pass_learned_is_kept_to_the_last_digit(demo: Database) -> None:
    with demo.reading() as connection:
        columns = load_plant(connection, NOW)
        kept = kept_priors(connection, columns)
    learned = learn_from_lives(columns, assess_duty(columns), instruments(columns)).prior
    assert kept is not None
    assert kept.life.log_median.tolist() == learned.life.log_median.tolist()
    assert kept.clean_deviation.tolist() == learned.clean_deviation.tolist()
    makers = {code for code in kept.shapes.codes if is_makers(code)}
    assert makers == {makers_code(part_number) for part_number in CURVE_POINTS}
    by_code = {code: row for row, code in enumerate(kept.shapes.codes)}
    order = [by_code[code] for code in learned.shapes.codes]
    assert kept.shapes.rise[order].tolist() == learned.shapes.rise.tolist()
    assert kept.shape_weights[:, order].tolist() == learned.shape_weights.tolist()


def test_a_pass_of_one_system_says_what_the_pass_of_the_whole_said(demo: Database) -> None:
    told = ("position", "due_at", "due_early", "due_late", "hours_left", "because")

    def items(connection: sa.Connection, system: str) -> list[dict[str, object]]:
        newest = sa.select(sa.func.max(due_items.c.pass_id)).scalar_subquery()
        query = sa.select(due_items).where(due_items.c.pass_id == newest, due_items.c.system == system)
        return [
            {name: row[name] for name in told}
            for row in connection.execute(query.order_by(due_items.c.position)).mappings()
        ]

    with demo.writing() as connection:
        system = connection.scalars(
            sa.select(t.positions.c.system).where(t.positions.c.position == "RING1-RET")
        ).one()
        before = items(connection, system)
        run_pass(connection, as_of=NOW, now=NOW, cause="test", by="test", systems=frozenset({system}))
        assert items(connection, system) == before


def test_weights_of_a_shape_that_is_none_any_more_are_learned_afresh(demo: Database) -> None:
    with demo.writing() as connection:
        system = connection.scalars(sa.select(t.positions.c.system).order_by(t.positions.c.position)).first()
        assert system is not None
        one = connection.scalars(sa.select(t.positions.c.position).where(t.positions.c.system == system)).first()
        query = sa.select(life_priors.c.shape_weights).where(life_priors.c.position == one)
        weights = connection.scalars(query).one()
        changed = sa.update(life_priors).where(life_priors.c.position == one)
        connection.execute(changed.values(shape_weights={"a shape of old": 1.0}))
        assert load_known(connection, NOW, frozenset({system})).prior is None
        connection.execute(changed.values(shape_weights=weights))
        known = load_known(connection, NOW, frozenset({system}))
        assert known.prior is not None
        assert len(known.prior.shapes) >= len(shape_table())


def test_the_past_is_learned_only_as_far_as_it_was_known(demo: Database) -> None:
    """Readings and lives recorded after a moment are not there for a pass as of that moment."""
    with demo.reading() as connection:
        early = load_plant(connection, NOW - timedelta(days=3650))
    assert len(early.life_dp.day) == 0
