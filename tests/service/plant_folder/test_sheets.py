"""Files saved in another way than agreed: one error for the file, which says how to save it right."""

from pathlib import Path

import pytest

from service.plant_folder.refusals import Refusal
from tests.service.plant_folder.invented_plant import TABLES, refusals, refusals_of, write_folder


def test_a_windows_1252_file_is_refused_once(tmp_path: Path) -> None:
    text = "fluid,name,grade\nHM46,plain oil,46\nHM68,Öl für die Säge,68\nHM32,Öl,32\n"
    assert refusals(tmp_path, fluids=text.encode("cp1252")) == (
        Refusal(
            *("fluids.csv", 3, None, "HM68,Öl für die Säge,68"),
            "is not UTF-8 (byte 0xD6), probably Windows-1252; save it as CSV in UTF-8",
        ),
    )


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_a_utf_16_file_is_refused_once(tmp_path: Path, encoding: str) -> None:
    assert refusals(tmp_path, fluids=TABLES["fluids"].encode(encoding)) == (
        Refusal(
            *("fluids.csv", None, None, None),
            "is encoded as UTF-16 or UTF-32; save it as CSV in UTF-8",
        ),
    )


def test_semicolons_are_refused_once(tmp_path: Path) -> None:
    text = "position;at;dp [bar]\nPRESS-R1;2026-03-05;1,5\nPRESS-R1;2026-03-06;1,6\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 1, None, "position;at;dp [bar]"),
            "its cells are separated by semicolons; save it with commas and decimal points, or import it with "
            "--separator ';' (with --decimal ',' where numbers have decimal commas)",
        ),
    )


def test_commas_are_refused_once_where_semicolons_were_announced(tmp_path: Path) -> None:
    path = write_folder(tmp_path / "folder", {name: None for name in TABLES if name != "plants"})
    assert refusals_of(path, separator=";") == (
        Refusal(
            *("plants.csv", 1, None, "plant,time_zone,currency,altitude [m]"),
            "its cells are separated by commas, but --separator ';' was given",
        ),
    )


def test_decimal_commas_are_refused_once_with_their_number(tmp_path: Path) -> None:
    text = 'position,at,dp [bar]\nPRESS-R1,2026-03-05,"1,5"\nPRESS-R1,2026-03-06,"1,6"\nPRESS-R1,2026-03-07,1.7\n'
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 2, "dp [bar]", "1,5"),
            "'1,5' is written with a decimal comma or thousands separators; write numbers like 1234.5, or for a "
            "file with semicolons and decimal commas import with --separator ';' --decimal ',' "
            "(2 cells of this kind)",
        ),
    )


@pytest.mark.parametrize("written", ["1,234.5", "1'234.5", "1 234", "1.234,5", "1\u00a0234,5", "1.234.567"])
def test_thousands_separators_are_refused_once(tmp_path: Path, written: str) -> None:
    text = f'position,at,dp [mbar]\nPRESS-R1,2026-03-05,"{written}"\nPRESS-R1,2026-03-06,"{written}"\n'
    (found,) = refusals(tmp_path, dp_readings=text)
    assert (found.file, found.row, found.column) == ("dp_readings.csv", 2, "dp [mbar]")
    assert "is written with a decimal comma or thousands separators" in found.says
    assert found.says.endswith("(2 cells of this kind)")


def test_decimal_commas_without_quotation_marks_are_refused_once(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\nPRESS-R1,2026-03-05,1,5\nPRESS-R1,2026-03-06,1,6\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 2, None, "5"),
            "the row has more cells than the header: '5' is beyond its 3 columns; if numbers have decimal commas, "
            "write them like 1234.5, or save the file with semicolons and import it with --separator ';' "
            "--decimal ',' (2 cells of this kind)",
        ),
    )


def test_decimal_points_are_refused_once_where_commas_were_announced(tmp_path: Path) -> None:
    text = "plant;time_zone;risk\nNORTH;Europe/Oslo;0.1\n"
    path = write_folder(tmp_path / "folder", dict.fromkeys(TABLES) | {"plants": text})
    assert refusals_of(path, separator=";", decimal=",") == (
        Refusal(
            *("plants.csv", 2, "risk", "0.1"),
            "'0.1' is written with a decimal point or thousands separators, but --decimal ',' was given; "
            "write numbers like 1234,5",
        ),
    )


@pytest.mark.parametrize("data", [b"", b"\n\n", b",,\n", "\ufeff".encode()])
def test_an_empty_file_is_refused(tmp_path: Path, data: bytes) -> None:
    assert refusals(tmp_path, dp_readings=data) == (
        Refusal(
            *("dp_readings.csv", None, None, None),
            "is empty: expected a header row, even where there are no rows",
        ),
    )


def test_quotation_marks_that_do_not_match_are_refused_once(tmp_path: Path) -> None:
    text = 'position,at,dp [bar]\nPRESS-R1,2026-03-05,"1.5\nPRESS-R1,2026-03-06,1.6\n'
    (found,) = refusals(tmp_path, dp_readings=text)
    assert (found.file, found.row, found.column) == ("dp_readings.csv", 2, None)
    assert found.says.startswith("its quotation marks do not match (")


def test_a_row_with_more_cells_than_the_header_is_refused(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\nPRESS-R1,2026-03-05,1.5,,by hand\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 2, None, "by hand"),
            "the row has more cells than the header: 'by hand' is beyond its 3 columns",
        ),
    )


@pytest.mark.parametrize(
    ("cell", "shown", "named"),
    [
        ("loose\x07bolt", r"loose\x07bolt", "the control character U+0007"),
        ("a\x00b", r"a\x00b", "the control character U+0000"),
        ('"two\nlines"', r"two\nlines", "a line break"),
        ("a\tb", r"a\tb", "a tab"),
    ],
)
def test_control_characters_are_refused(tmp_path: Path, cell: str, shown: str, named: str) -> None:
    text = f"part_number,kind,description\nK-1,seal_kit,{cell}\n"
    assert refusals(tmp_path, parts=text) == (
        Refusal(
            *("parts.csv", 2, "description", shown),
            f"'{shown}' holds {named}; write the cell without it",
        ),
    )
