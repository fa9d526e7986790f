"""Single cells: what becomes of them, and what is said of those that cannot be."""

from pathlib import Path

import pytest

from service.plant_folder.refusals import Refusal
from tests.service.plant_folder.invented_plant import read, refusals


def _dp(header: str, cell: str) -> str:
    return f"position,at,{header}\nPRESS-R1,2026-03-05,{cell}\n"


@pytest.mark.parametrize(
    ("header", "cell", "dp_bar"),
    [
        ("dp [psi]", "35", 2.413165),  # NIST SP 811, B.8: 1 psi = 6894.757 Pa
        ("dp [kPa]", "150", 1.5),
        ("dp [inHg]", "10", 0.338639),  # NIST SP 811, B.8: 1 inHg = 3386.389 Pa
        ("dp [bar]", "+1.5e0", 1.5),
        ("dp [bar]", ".5", 0.5),
        ("dp [bar]", "-0", 0.0),
    ],
)
def test_a_difference_is_kept_in_bar(tmp_path: Path, header: str, cell: str, dp_bar: float) -> None:
    (row,) = read(tmp_path, dp_readings=_dp(header, cell)).tables["dp_readings"]
    assert row.values["dp_bar"] == pytest.approx(dp_bar, rel=1e-6)


def test_a_temperature_in_fahrenheit_is_kept_in_celsius(tmp_path: Path) -> None:
    text = "position,at,dp [bar],oil_temperature [degF]\nPRESS-R1,2026-03-05,1.5,122\n"
    (row,) = read(tmp_path, dp_readings=text).tables["dp_readings"]
    assert row.values["oil_temperature_degC"] == 50.0  # 122 °F is 50 °C by definition


@pytest.mark.parametrize(
    ("header", "cell", "says"),
    [
        ("dp [bar]", "-0.2", "-0.2 bar is below 0 bar"),
        ("dp [psi]", "-1", "-1 psi is -0.0689476 bar, which is below 0 bar"),
        ("dp [bar]", "1e999", "'1e999' is beyond any number that can be kept"),
        ("dp [bar]", "9" * 400, f"'{'9' * 80}…' is beyond any number that can be kept"),
        ("dp [MPa]", "1e308", "1e308 MPa is beyond any number that can be kept"),
        *(("dp [bar]", cell, f"'{cell}' is not a number") for cell in ("NaN", "inf", "1_5", "0x1", "1.5 bar", "٣")),
        ("vacuum [bar]", "1.2", "1.2 bar is above 1.01325 bar"),
        ("vacuum [inHg]", "40", "40 inHg is 1.35456 bar, which is above 1.01325 bar"),
    ],
)
def test_a_number_that_cannot_be_is_refused(tmp_path: Path, header: str, cell: str, says: str) -> None:
    shown = cell if len(cell) <= 80 else cell[:80] + "…"
    assert refusals(tmp_path, dp_readings=_dp(header, cell)) == (Refusal("dp_readings.csv", 2, header, shown, says),)


def test_negative_hours_are_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, meter_readings="system,at,hours [h]\nPRESS,2026-03-05,-12\n") == (
        Refusal("meter_readings.csv", 2, "hours [h]", "-12", "-12 h is below 0 h"),
    )


def test_a_volume_of_nothing_is_refused_where_there_must_be_some(tmp_path: Path) -> None:
    text = "system,plant,fluid,reservoir_volume [gal]\nPRESS,NORTH,HM46,0\n"
    assert refusals(tmp_path, systems=text) == (
        Refusal("systems.csv", 2, "reservoir_volume [gal]", "0", "0 gal is 0 L, which is not above 0 L"),
    )


def test_an_absolute_pressure_is_gauge_by_the_plants_own_altitude(tmp_path: Path) -> None:
    row = read(tmp_path, dp_readings=_dp("upstream [kPaa],downstream [kPaa]", "300,200")).tables["dp_readings"][0]
    # ISO 2533:1975: 898.746 hPa at 1000 m
    assert row.values["upstream_bar"] == pytest.approx(3.0 - 0.898746, abs=2e-6)
    assert row.values["downstream_bar"] == pytest.approx(2.0 - 0.898746, abs=2e-6)


def test_an_absolute_pressure_without_the_plants_altitude_is_refused_once(tmp_path: Path) -> None:
    text = "position,at,upstream [bara],downstream [barg]\nPRESS-R1,2026-03-05,3,1\nPRESS-R1,2026-03-06,3,1\n"
    found = refusals(tmp_path, dp_readings=text, plants="plant,time_zone\nNORTH,Europe/Oslo\n")
    assert found == (
        Refusal(
            *("dp_readings.csv", 2, "upstream [bara]", "3"),
            "absolute pressures need the plant's altitude to become gauge: give 'altitude [m]' for 'NORTH' in "
            "plants.csv, or gauge values (2 cells of this kind)",
        ),
    )


def test_a_word_that_is_no_option_is_refused_with_the_options(tmp_path: Path) -> None:
    text = "position,at,indicator\nPRESS-R1,2026-03-05,Triped\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 2, "indicator", "Triped"),
            "'Triped' is not one of: clear, tripped, reset; did you mean 'tripped'?",
        ),
    )


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("1.5", "'1.5' is not a whole number"),
        ("0", "0 is below 1"),
        ("2000000000", "'2000000000' is above the limit of 1000000000"),
        ("two", "'two' is not a number"),
    ],
)
def test_pieces_are_whole_and_enough(tmp_path: Path, cell: str, says: str) -> None:
    text = f"position,system,place,part_number,quantity\nPRESS-R1,PRESS,return,E-10,{cell}\n"
    assert refusals(tmp_path, positions=text) == (Refusal("positions.csv", 2, "quantity", cell, says),)


def test_pieces_that_a_spreadsheet_wrote_with_a_decimal_point_are_whole(tmp_path: Path) -> None:
    text = "position,system,place,part_number,quantity\nPRESS-R1,PRESS,return,E-10,2.0\n"
    assert read(tmp_path, positions=text).tables["positions"][0].values["quantity"] == 2


@pytest.mark.parametrize(
    ("risk", "says"), [("1.2", "1.2 is above 1"), ("-0.1", "-0.1 is below 0"), ("nan", "'nan' is not a number")]
)
def test_a_risk_is_a_share(tmp_path: Path, risk: str, says: str) -> None:
    assert refusals(tmp_path, plants=f"plant,time_zone,risk\nNORTH,Europe/Oslo,{risk}\n") == (
        Refusal("plants.csv", 2, "risk", risk, says),
    )


def test_hazards_are_a_list_of_words(tmp_path: Path) -> None:
    text = (
        "system,plant,fluid,reservoir_volume [L],hazards\n"
        'PRESS,NORTH,HM46,400,accumulator; hot surface;accumulator\nSAW,NORTH,HM46,80,"tank_heater, noise"\n'
    )
    first, second = read(tmp_path, systems=text).tables["systems"]
    assert first.values["hazards"] == ["accumulator", "hot surface"]
    assert second.values["hazards"] == ["tank_heater", "noise"]


def test_cleanliness_codes_are_kept_in_one_spelling(tmp_path: Path) -> None:
    samples = "system,at,code\nPRESS,2026-03-05,18 / 16 / 13\nPRESS,2026-03-06,-/16/>=13\n"
    rows = read(tmp_path, oil_samples=samples).tables["oil_samples"]
    assert [row.values["code"] for row in rows] == ["18/16/13", "-/16/≥13"]


@pytest.mark.parametrize("code", ["18/16", "13/16/18", "18/16/99", "clean", "-/-/-", "18/16/13/11"])
def test_a_cleanliness_code_that_cannot_be_is_refused(tmp_path: Path, code: str) -> None:
    (found,) = refusals(tmp_path, oil_samples=f"system,at,code\nPRESS,2026-03-05,{code}\n")
    assert (found.file, found.row, found.column, found.value) == ("oil_samples.csv", 2, "code", code)
    assert "code" in found.says


def test_a_target_says_every_number(tmp_path: Path) -> None:
    text = "system,plant,fluid,reservoir_volume [L],cleanliness_target\nPRESS,NORTH,HM46,400,-/16/13\n"
    (found,) = refusals(tmp_path, systems=text)
    assert (found.row, found.column, found.value) == (2, "cleanliness_target", "-/16/13")


def test_a_code_of_endless_length_is_refused(tmp_path: Path) -> None:
    (found,) = refusals(tmp_path, parts=f"part_number,kind\n{'K' * 201},seal_kit\nK-1,seal_kit\n")
    assert (found.row, found.column) == (2, "part_number")
    assert found.says.endswith("has 201 characters; at most 200 are kept")


def test_a_required_cell_that_is_empty_is_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, fluids="fluid,grade\n,46\nHM46,46\n") == (
        Refusal("fluids.csv", 2, "fluid", "", "must not be empty"),
    )
