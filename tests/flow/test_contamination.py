"""How clean the oil of a system is, asked as people ask: target, trend, balance, cause, water; and who may ask."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.vocabulary import Scope
from service.keys.keeping import make_key
from tests.flow.command_line import run, said_by
from tests.flow.running_plant import RunningPlant, add_plant, copied, make_planned, running
from tests.flow.small_folder import RETURN, Row, SmallPlant, small_plant

pytestmark = pytest.mark.one_database_is_enough

BEFORE, SINCE = 6, 4
CONTAMINATION = "/v1/systems/PRESS/contamination"


def plant_that_got_dirtier() -> SmallPlant:
    """Some 200 particles of ≥6 µm(c) a mL for half a year, four times that since four months; water told in ppm."""
    plant = small_plant()
    plant = plant.changed(
        *("element_types", "part_number", "EL-10"), **{"rating [um]": 6, "beta": "200", "capacity [g]": 90}
    )
    plant = plant.changed("systems", "system", "PRESS", cleanliness_target="18/16/13")
    plant = plant.changed("fluids", "fluid", "OIL-46", **{"water_saturation_20 [ppm]": 300})
    rows: list[Row] = []
    for back in range(BEFORE + SINCE):
        times = 4.0 if back < SINCE else 1.0
        wobble = (1.1, 0.9, 1.0)[back % 3] * times
        rows.append(
            {
                "system": "PRESS",
                "at": plant.at(6 + 30 * back),
                "count_4 [1/mL]": round(900 * wobble),
                "count_6 [1/mL]": round(250 * wobble),
                "count_14 [1/mL]": round(30 * wobble),
                "water [ppm]": 60,
            }
        )
    return plant.with_rows("oil_samples", *rows)


@pytest.fixture(scope="module")
def dirty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("dirty") / "plant.sqlite", plant_that_got_dirtier())


@pytest.fixture
def plant(dirty_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(dirty_file, tmp_path / "plant.sqlite")) as served:
        yield served


def test_the_system_tells_target_trend_balance_cause_and_water(plant: RunningPlant) -> None:
    told = plant.get(CONTAMINATION)
    assert (told["target"], told["verdict"]) == ({"code": "18/16/13", "source": "plant"}, "missed")
    newest = told["samples"][0]
    # ISO 4406:2021: up to 5000, 1300 and 160 a mL; SAE AS4059: 400,000 of A, 156,000 of B, 13,900 of C a 100 mL
    assert (newest["code"], newest["classes"]) == ("19/17/14", ["9A", "9B", "8C"])
    assert [trend["size_um_c"] for trend in told["trends"]] == [4, 6, 14]
    assert told["change"]["samples"] == SINCE
    assert told["change"]["times_p10"] < 4.0 < told["change"]["times_p90"]
    assert told["water"]["level"] == {"value": 20.0, "unit": "%"}
    assert told["water"]["limit_from"] == "fluid"


def test_the_balance_names_each_filter_and_what_it_does_not_know_of_it(plant: RunningPlant) -> None:
    balance = plant.get(CONTAMINATION)["balance"]
    by_position = {each["position"]: each for each in balance["filters"]}
    assert by_position[RETURN]["share"] == 1.0
    strainer = next(each for code, each in by_position.items() if code != RETURN)
    assert (strainer["place"], strainer["beta"], strainer["cleaned"]) == ("suction", None, None)
    # N∞ = R/E: what the count tends to is what comes in over what is cleaned
    came, cleaned = balance["ingression"]["p50"], balance["cleaned"]["value"]
    assert balance["steady"]["value"] == pytest.approx(came / cleaned / 1000.0, rel=0.02)
    # V/E: 400 L, 60 min an hour
    assert balance["time_constant_hours"] == pytest.approx(400.0 / cleaned / 60.0, rel=0.01)
    assert len(balance["ingression_over_time"]) == BEFORE + SINCE - 1


def test_the_likeliest_cause_is_told_with_what_would_tell_more(plant: RunningPlant) -> None:
    causes = plant.get(CONTAMINATION)["causes"]
    assert causes["likeliest"] == max(causes["probability"], key=causes["probability"].get)
    assert sum(causes["probability"].values()) == pytest.approx(1.0, abs=0.005)
    assert "sample_downstream" in causes["missing"]
    said = [row["numbers"] for row in plant.rows("diagnoses", cleared_at=None) if row["code"] == "cleanliness-missed"]
    assert said[0]["causes"]["position"] == RETURN


def test_the_clean_up_is_told_for_the_time_when_no_more_comes_in_than_before(plant: RunningPlant) -> None:
    clean_up = plant.get(CONTAMINATION)["clean_up"]
    # real tanks take 2 to 5 times as long (published clean-up tables)
    assert clean_up["low_hours"] == pytest.approx(2.0 * clean_up["ideal_hours"], rel=0.02)
    assert clean_up["high_hours"] == pytest.approx(5.0 * clean_up["ideal_hours"], rel=0.02)
    assert clean_up["says"].startswith("Clean-up takes about")


def test_a_system_without_samples_says_so(plant: RunningPlant) -> None:
    told = plant.get("/v1/systems/CONV/contamination")
    assert (told["verdict"], told["samples"], told["trends"], told["water"]) == ("no_target", [], [], None)
    assert told["balance"]["ingression"] is None


def test_a_key_of_another_plant_hears_what_a_missing_system_says(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        add_plant(connection, "OTHER")
        secret = make_key(connection, "elsewhere", [Scope.READ], now=plant.now, plants=["OTHER"])
    asked = {"Authorization": f"Bearer {secret}"}
    hidden = plant.client.get(CONTAMINATION, headers=asked)
    missing = plant.client.get("/v1/systems/NOWHERE/contamination", headers=asked)
    assert (hidden.status_code, missing.status_code) == (404, 404)
    assert hidden.json()["detail"].replace("PRESS", "NOWHERE") == missing.json()["detail"]


def test_the_command_line_tells_the_same(plant: RunningPlant) -> None:
    shown = said_by(plant, "contamination", "PRESS", as_json=False)
    assert "target 18/16/13 (plant), missed" in shown
    assert RETURN in shown
    assert said_by(plant, "contamination", "PRESS", "--json")["target"]["code"] == "18/16/13"
    assert run(plant, "contamination", "NOWHERE").returncode == 1
