"""An oil whose numbers cannot be is refused at the door (grades: ISO 3448; viscosities: ASTM D341)."""

from pathlib import Path

import pytest

from scheduler.engineering.viscosity_grade import MIDPOINT_40_MM2_S
from service.plant_folder.fluid_checks import fluid_trouble
from service.plant_folder.refusals import FolderRefused
from tests.service.plant_folder.invented_plant import read, refusals
from tests.service.plant_folder.kept_plant import current, kept, take_only, take_tables

HEADER = "fluid,grade,viscosity_40 [mm2/s],viscosity_100 [mm2/s],viscosity_index\n"


def test_a_grade_that_iso_3448_does_not_have_is_refused_with_those_it_has(tmp_path: Path) -> None:
    (found,) = refusals(tmp_path, fluids=f"{HEADER}HM46,,46,,\nHM47,47,46,,\n")
    assert (found.file, found.row, found.column, found.value) == ("fluids.csv", 3, "grade", "47")
    assert "no ISO viscosity grade VG 47" in found.says
    assert " 46, 68," in found.says


def test_an_oil_that_is_thicker_when_hot_is_refused(tmp_path: Path) -> None:
    (found,) = refusals(tmp_path, fluids=f"{HEADER}HM46,,6.8,46,\n")
    assert (found.row, found.column) == (2, "viscosity_40 [mm2/s], viscosity_100 [mm2/s]")
    assert found.value == "6.8, 46"
    assert "6.8 mm²/s at 40 °C and 46.0 mm²/s at 100 °C" in found.says


def test_a_viscosity_beyond_every_oil_is_refused(tmp_path: Path) -> None:
    (found,) = refusals(tmp_path, fluids=f"{HEADER}HM46,,1e300,,\n")
    assert found.says == "no oil is as viscous as that"


def test_every_bad_fluid_is_told_and_good_ones_are_not(tmp_path: Path) -> None:
    rows = "HM46,46,46,6.8,\nA,33,,,\nB,,0.1,,\nC,,,,\nD,,46,,-100\n"
    assert [(found.row, found.column) for found in refusals(tmp_path, fluids=HEADER + rows)] == [
        *[(3, "grade"), (4, "viscosity_40 [mm2/s]"), (5, "viscosity_40 [mm2/s], grade")]
    ]


@pytest.mark.parametrize("grade", MIDPOINT_40_MM2_S)
def test_every_grade_of_the_standard_is_taken_alone(tmp_path: Path, grade: int) -> None:
    assert fluid_trouble({"grade": grade}) is None
    assert len(read(tmp_path, fluids=f"{HEADER}HM46,{grade},,,\n").tables["fluids"]) == 1


def test_a_row_that_contradicts_what_its_empty_cells_leave_standing_changes_nothing(tmp_path: Path) -> None:
    with kept(tmp_path / "plant.sqlite") as database:
        take_tables(database, tmp_path / "first", fluids=f"{HEADER}HM46,,46,6.8,\n")
        with pytest.raises(FolderRefused) as refused:
            take_only(database, tmp_path / "second", fluids=f"{HEADER}HM46,,5,,\n")
        (found,) = refused.value.refusals
        assert (found.file, found.row, found.column) == ("fluids.csv", 2, "viscosity_40, viscosity_100")
        assert found.says.startswith("with what is recorded of 'HM46', 5.0 mm²/s at 40 °C and 6.8 mm²/s at 100 °C")
        assert [row["viscosity_40_mm2_s"] for row in current(database, "fluids")] == [46.0]
        take_only(database, tmp_path / "third", fluids=f"{HEADER}HM46,,44,,\n")
        assert [row["viscosity_40_mm2_s"] for row in current(database, "fluids")] == [44.0]
