"""`/v1/calibration` and `elementdue calibration`: what the last pass of the whole found, in figures and words."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from api_schemas.calibration import TypeCalibration
from scheduler.statistics.calibration import Calibration
from scheduler.vocabulary import Scope
from service.calibration.keeping import keep_calibration
from service.calibration.tables import calibration
from service.calibration.wording import says
from service.due.planning_pass import run_pass
from service.plant_store.loading import load_plant
from tests.service.served import Served, run, served

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("calibration")) as running:
        yield running


def keep(service: Served, *, mean_pit: float = 0.44, a: float = 1.05, b: float = 1.25) -> list[str]:
    """Keep the same figures for every type of the small plant; their part numbers."""
    with service.database.writing() as connection:
        run_pass(connection, as_of=NOW, now=NOW, cause="asked for", by="tester")
        columns = load_plant(connection, NOW)
        types = len(columns.types.part_number)
        counts = [np.full(types, count, dtype=np.int64) for count in (14, 23, 96)]
        figures = [np.full(types, value) for value in (mean_pit, 0.91, a, b)]
        keep_calibration(connection, columns, Calibration(*counts, *figures), NOW)
    return sorted(columns.types.part_number)


def test_each_type_is_told_with_its_figures_and_in_words(service: Served) -> None:
    kept = keep(service)
    with service.client(service.key(Scope.READ)) as client:
        answer = client.get("/v1/calibration")
    assert answer.status_code == 200, answer.text
    items = answer.json()["items"]
    assert [item["part_number"] for item in items] == kept
    assert answer.json()["next"] is None
    told = items[0]
    assert (told["lives_at_limit"], told["lives_early"], told["forecasts"]) == (14, 23, 96)
    assert (told["mean_pit"], told["band_share"], told["a"], told["b"]) == (0.44, 0.91, 1.05, 1.25)
    assert datetime.fromisoformat(told["as_of"]) == NOW
    assert "14 lives to the limit and 23 changed early: 91 % of ends" in told["says"]
    assert "shifted earlier" in told["says"]


def test_pages_follow_each_other_without_a_gap(service: Served) -> None:
    kept = [*keep(service), "ZZ-1", "ZZ-2"]
    with service.database.writing() as connection:
        row = dict(connection.execute(sa.select(calibration)).mappings().first() or {})
        connection.execute(sa.insert(calibration), [row | {"part_number": code} for code in kept[-2:]])
    found: list[str] = []
    cursor: str | None = None
    with service.client(service.key(Scope.READ, name="pages")) as client:
        for _ in kept:
            query = {"limit": 1} | ({} if cursor is None else {"cursor": cursor})
            page = client.get("/v1/calibration", params=query).json()
            found += [item["part_number"] for item in page["items"]]
            cursor = page["next"]
        assert client.get("/v1/calibration", params={"cursor": "abc"}).status_code == 422
    assert (found, cursor) == (kept, None)


def test_a_figure_that_is_not_known_is_null_and_not_a_number(service: Served) -> None:
    keep(service, mean_pit=float("nan"))
    with service.client(service.key(Scope.READ, name="unknown")) as client:
        assert client.get("/v1/calibration").json()["items"][0]["mean_pit"] is None


def test_a_pass_of_the_whole_writes_it_anew_and_one_of_some_systems_leaves_it(service: Served) -> None:
    kept = keep(service)
    with service.database.writing() as connection:
        system = load_plant(connection, NOW).systems.code[0]
        run_pass(connection, as_of=NOW, now=NOW, cause="x", by="tester", systems=frozenset({system}))
        assert len(connection.execute(sa.select(calibration)).all()) == len(kept)
        run_pass(connection, as_of=NOW, now=NOW, cause="x", by="tester")
        left = connection.execute(sa.select(calibration.c.lives_at_limit)).scalars().all()
    assert 14 not in left


def test_the_command_prints_a_table_and_the_same_as_json(service: Served) -> None:
    kept = keep(service)
    url = service.database.url.render_as_string(hide_password=False)
    table = run("calibration", ELEMENTDUE_DATABASE=url)
    assert table.returncode == 0, table.stderr
    assert all(part_number in table.stdout for part_number in kept)
    assert "91%" in table.stdout
    told = json.loads(run("calibration", "--json", ELEMENTDUE_DATABASE=url).stdout)
    assert [item["part_number"] for item in told["items"]] == kept


def test_before_the_first_pass_it_says_so(tmp_path: Path) -> None:
    with served(tmp_path) as fresh, fresh.client(fresh.key(Scope.READ)) as client:
        answer = client.get("/v1/calibration")
    assert answer.status_code == 409
    assert "no planning pass has run yet" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        (1.0, 1.0, "Forecasts stay as they are."),
        (1.3, 1.3, "Forecasts are narrowed:"),
        (0.8, 0.8, "Forecasts are widened:"),
        (1.0, 1.2, "shifted earlier:"),
        (1.2, 1.0, "shifted later:"),
    ],
)
def test_the_words_say_which_way_forecasts_were_moved(a: float, b: float, words: str) -> None:
    assert words in says(10, 3, 0.8, a, b)


def test_the_example_in_the_description_says_what_its_figures_say() -> None:
    (example,) = TypeCalibration.model_config["json_schema_extra"]["examples"]  # type: ignore[call-overload, index]
    told = TypeCalibration.model_validate(example)
    assert told.says == says(told.lives_at_limit, told.lives_early, told.band_share, told.a, told.b)
