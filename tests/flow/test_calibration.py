"""Were the forecasts of the demo plant right? What its first pass found, shown and kept for the next."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.demo.loading import load_demo
from service.due.priors import kept_priors
from service.due.tables import life_priors
from service.plant_store.loading import load_plant
from tests.flow.running_plant import RunningPlant, make_empty, running
from tests.flow.small_folder import NOW


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    path: Path = make_empty(tmp_path_factory.mktemp("demo") / "plant.sqlite")
    with running(path, NOW) as plant:
        load_demo(plant.database, NOW, "test")
        plant.run_pass()
        yield plant


def test_every_type_with_finished_lives_and_readings_is_judged(demo: RunningPlant) -> None:
    items = demo.get("/v1/calibration")["items"]
    life_count = {
        row["part_number"]: row["lives"]
        for row in _rows(
            demo,
            "SELECT part_number, count(*) AS lives FROM installations WHERE removed_at IS NOT NULL "
            "AND superseded_at IS NULL GROUP BY part_number",
        )
    }
    assert items
    for item in items:
        judged = item["lives_at_limit"] + item["lives_early"]
        assert 0 < judged <= life_count[item["part_number"]]
        assert judged <= item["forecasts"] <= 4 * judged
        assert 0.0 < item["mean_pit"] < 1.0
        assert 0.0 <= item["band_share"] <= 1.0
        assert 0.5 < item["a"] < 2.0
        assert 0.5 < item["b"] < 2.0


def test_the_positions_of_a_type_are_forecast_by_its_map_also_by_a_pass_of_some_systems(demo: RunningPlant) -> None:
    maps = {item["part_number"]: (item["a"], item["b"]) for item in demo.get("/v1/calibration")["items"]}
    assert any(a != 1.0 for a, _ in maps.values())
    rows = demo.rows("life_priors")
    for row in rows:
        a, b = maps.get(row["part_number"], (1.0, 1.0))
        assert (row["pit_a"], row["pit_b"]) == pytest.approx((a, b), abs=1e-4)
    with demo.database.reading() as connection:
        columns = load_plant(connection, NOW)
        kept = kept_priors(connection, columns)
        assert kept is not None
        by_position = {row.position: row.pit_a for row in connection.execute(sa.select(life_priors))}
    assert kept.pit_a.tolist() == [by_position[code] for code in columns.positions.code]


def _rows(plant: RunningPlant, query: str) -> list[dict[str, int]]:
    with plant.database.reading() as connection:
        return [dict(row) for row in connection.execute(sa.text(query)).mappings()]
