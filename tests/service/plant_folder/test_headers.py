"""Header rows: which column is meant, and in which unit."""

from pathlib import Path

import pytest

from service.plant_folder.refusals import Refusal
from tests.service.plant_folder.invented_plant import refusals

DIFFERENCES = "expected one of: bar, mbar, Pa, kPa, MPa, psi, inHg, mmHg"


@pytest.mark.parametrize(
    ("header", "value", "says"),
    [
        (
            *("dp [barg]", "barg"),
            "'barg' is gauge pressure (against atmosphere), but this is a pressure difference; " + DIFFERENCES,
        ),
        (
            *("dp [psia]", "psia"),
            "'psia' is absolute pressure (against vacuum), but this is a pressure difference; " + DIFFERENCES,
        ),
        ("dp [L/min]", "L/min", "'L/min' measures flow, not pressure difference; " + DIFFERENCES),
        ("dp [Bar]", "Bar", "unknown unit 'Bar' (did you mean 'bar'?); " + DIFFERENCES),
        ("dp [9**9**9]", "9**9**9", "unknown unit '9**9**9'; " + DIFFERENCES),
        ("dp", None, "no unit given; " + DIFFERENCES),
        ("dp []", "", "no unit given; " + DIFFERENCES),
    ],
)
def test_a_unit_that_cannot_be_meant_is_refused_at_the_header(
    tmp_path: Path, header: str, value: str | None, says: str
) -> None:
    text = f"position,at,{header}\nPRESS-R1,2026-03-05,1.5\nPRESS-R1,2026-03-06,1.6\n"
    assert refusals(tmp_path, dp_readings=text) == (Refusal("dp_readings.csv", 1, header, value, says),)


def test_a_unit_on_a_column_that_takes_none_is_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, plants="plant,time_zone,risk [%]\nNORTH,Europe/Oslo,0.1\n") == (
        Refusal("plants.csv", 1, "risk [%]", "%", "'risk' takes no unit; write the header as 'risk'"),
    )


def test_a_missing_required_column_is_refused_once(tmp_path: Path) -> None:
    text = "system,plant,fluid\nPRESS,NORTH,HM46\nSAW,NORTH,HM46\n"
    assert refusals(tmp_path, systems=text) == (
        Refusal(
            *("systems.csv", 1, "reservoir_volume", None),
            "the required column 'reservoir_volume' is missing; it is written with its unit in square brackets",
        ),
    )


def test_a_missing_key_column_is_refused_once_and_blames_no_other_table(tmp_path: Path) -> None:
    assert refusals(tmp_path, systems="plant,fluid,reservoir_volume [L]\nNORTH,HM46,400\n") == (
        Refusal("systems.csv", 1, "system", None, "the required column 'system' is missing"),
    )


def test_columns_of_which_one_is_needed_are_refused_once_where_all_are_missing(tmp_path: Path) -> None:
    assert refusals(tmp_path, fluids="fluid,name\nHM46,plain\nHM68,plain\n") == (
        Refusal(
            *("fluids.csv", 1, "viscosity_40, grade", None),
            "at least one of the columns viscosity_40, grade is required; none is there",
        ),
    )


@pytest.mark.parametrize(
    ("header", "name"), [("Dp [bar]", "Dp"), ("dp (bar)", "dp (bar)"), ("dp [bar", "dp [bar"), ("dpp [bar]", "dpp")]
)
def test_an_unknown_column_is_refused_with_the_nearest(tmp_path: Path, header: str, name: str) -> None:
    text = f"position,at,dp [bar],{header}\nPRESS-R1,2026-03-05,1.5,1.5\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 1, header, None),
            f"unknown column '{name}'; did you mean 'dp'? (columns of your own begin with x_)",
        ),
    )


def test_an_unknown_column_that_is_near_to_none_is_refused_with_the_list(tmp_path: Path) -> None:
    assert refusals(tmp_path, parts="part_number,kind,drawing\nK-1,seal_kit,D7\n") == (
        Refusal(
            *("parts.csv", 1, "drawing", None),
            "unknown column 'drawing'; parts has: part_number, kind, description, price, currency, lead_time, "
            "shelf_life, pack, external_ref (columns of your own begin with x_)",
        ),
    )


def test_a_column_that_is_there_twice_is_refused(tmp_path: Path) -> None:
    text = "position,at,dp [bar],dp [psi]\nPRESS-R1,2026-03-05,1.5,21.8\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal("dp_readings.csv", 1, "dp [psi]", None, "the column 'dp' is in the header twice"),
    )


def test_a_column_without_a_name_is_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, dp_readings="position,at,,dp [bar]\nPRESS-R1,2026-03-05,,1.5\n") == (
        Refusal("dp_readings.csv", 1, None, None, "column 3 has no name"),
    )


def test_master_data_has_no_recorded_at(tmp_path: Path) -> None:
    (found,) = refusals(tmp_path, parts="part_number,kind,recorded_at\nK-1,seal_kit,2026-01-01\n")
    assert (found.row, found.column) == (1, "recorded_at")
    assert found.says.startswith("unknown column 'recorded_at'")
