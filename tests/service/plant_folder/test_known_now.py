"""What a later folder may rely on is what earlier ones brought."""

from pathlib import Path

from service.plant_folder.known import EMPTY, Known, PlantTerms
from service.plant_folder.known_now import known_now
from tests.service.plant_folder.kept_plant import kept, take_tables


def test_the_codes_of_an_imported_plant_are_known(tmp_path: Path) -> None:
    systems = "system,plant,fluid,reservoir_volume [L],status\nPRESS,NORTH,HM46,400,retired\n"
    with kept(tmp_path / "plant.sqlite") as database:
        with database.reading() as connection:
            assert known_now(connection) == EMPTY
        take_tables(database, tmp_path / "folder", systems=systems)
        with database.reading() as connection:
            assert known_now(connection) == Known(
                plants={"NORTH": PlantTerms("Europe/Oslo", 1000.0, "EUR")},
                plant_of_system={"PRESS": "NORTH"},
                system_of_position={"PRESS-R1": "PRESS", "PRESS-R2": "PRESS"},
                fluids=frozenset({"HM46"}),
                element_types=frozenset({"E-10", "E-20"}),
                kind_of_part={"K-1": "seal_kit"},
            )
