"""A whole folder: what is accepted as it comes, and what is refused with every error told at once."""

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.plant_folder.known import EMPTY, Known, PlantTerms
from service.plant_folder.layout import TABLES
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import FolderRefused, Refusal, Remark
from tests.service.plant_folder.invented_plant import NOW, read, refusals, refusals_of, write_folder, write_zip
from tests.service.plant_folder.invented_plant import TABLES as PLANT

KNOWN = Known(
    plants={"NORTH": PlantTerms("Europe/Oslo", 1000.0, "EUR")},
    plant_of_system={"PRESS": "NORTH"},
    system_of_position={"PRESS-R1": "PRESS", "PRESS-R2": "PRESS"},
    fluids=frozenset({"HM46"}),
    element_types=frozenset({"E-10", "E-20"}),
    kind_of_part={"K-1": "seal_kit"},
)


def test_a_folder_in_order_becomes_canonical_rows_in_the_order_of_the_layout(tmp_path: Path) -> None:
    folder = read(tmp_path)
    assert list(folder.tables) == [table.name for table in TABLES if table.name in PLANT]
    assert folder.remarks == ()
    plant, reading = folder.tables["plants"][0], folder.tables["dp_readings"][0]
    assert (plant.line, plant.notes, plant.external_ref, plant.recorded_at) == (2, {}, None, None)
    assert plant.values == {
        "plant": "NORTH",
        "time_zone": "Europe/Oslo",
        "currency": "EUR",
        "altitude_m": 1000.0,
    }
    assert reading.values == {
        "position": "PRESS-R1",
        "at": datetime(2026, 3, 5, 7, tzinfo=UTC),  # Oslo is at UTC+1 in winter
        "at_is_date": False,
        "dp_bar": 1.5,
    }


def test_empty_cells_leave_no_value(tmp_path: Path) -> None:
    assert "seal_kit" not in read(tmp_path).tables["element_types"][1].values


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffposition,at,dp [bar]\nPRESS-R1,2026-03-05T08:00,1.5\n",
        "position,at,dp [bar]\r\nPRESS-R1,2026-03-05T08:00,1.5\r\n",
        "position,at,dp [bar]\rPRESS-R1,2026-03-05T08:00,1.5\r",
        " position , at,  dp  [ bar ] \n PRESS-R1 ,2026-03-05T08:00 , 1.5\n",
        "position,at,dp [bar],,\nPRESS-R1,2026-03-05T08:00,1.5,,\n,,,,\n\n\n",
        '"position","at","dp [bar]"\n"PRESS-R1","2026-03-05T08:00","1.5"\n',
        "position,at,dp [bar],flow [L/min],stage,recorded_at\nPRESS-R1,2026-03-05T08:00,1.5\n",
        "position,at,dp [bar]\nPRESS-R1,2026-03-05 08:00:00,1.5",
    ],
    ids=["bom", "crlf", "cr", "padded", "blank-ends", "quoted", "short-row", "no-last-line-end"],
)
def test_a_table_is_read_however_it_was_saved(tmp_path: Path, text: str) -> None:
    folder = read(tmp_path, dp_readings=text)
    assert [row.values["dp_bar"] for row in folder.tables["dp_readings"]] == [1.5]
    assert folder.tables["dp_readings"][0].values["at"] == datetime(2026, 3, 5, 7, tzinfo=UTC)


def test_columns_of_the_plants_own_are_kept_as_notes(tmp_path: Path) -> None:
    text = "position,at,dp [bar],x_round,external_ref,recorded_at\nPRESS-R1,2026-03-05T08:00,1.5,east,R7,2026-03-06\n"
    row = read(tmp_path, dp_readings=text).tables["dp_readings"][0]
    assert row.notes == {"x_round": "east"}
    assert row.external_ref == "R7"
    assert row.recorded_at == datetime(2026, 3, 6, 11, tzinfo=UTC)
    assert set(row.values) == {"position", "at", "at_is_date", "dp_bar"}


def test_a_table_with_a_header_alone_has_no_rows(tmp_path: Path) -> None:
    assert len(read(tmp_path, dp_readings="position,at,dp [bar]\n").tables["dp_readings"]) == 0


def test_a_folder_with_readings_alone_relies_on_what_the_database_holds(tmp_path: Path) -> None:
    (tmp_path / "dp_readings.csv").write_text(
        "position,at,upstream [bara],downstream [bar]\nPRESS-R1,2026-05-01,3,1\n"
    )
    folder = read_folder(tmp_path, KNOWN, now=NOW)
    assert list(folder.tables) == ["dp_readings"]
    values = folder.tables["dp_readings"][0].values
    assert values["at"] == datetime(2026, 5, 1, 10, tzinfo=UTC)
    assert values["at_is_date"] is True
    # ISO 2533:1975: 0.898746 bar at 1000 m
    assert values["upstream_bar"] == pytest.approx(3.0 - 0.898746, abs=2e-6)
    assert values["downstream_bar"] == 1.0


def test_other_files_are_remarked_and_hidden_ones_ignored(tmp_path: Path) -> None:
    path = write_folder(tmp_path / "folder", {})
    (path / "README.txt").write_text("hello")
    (path / ".hidden.csv").write_text("x")
    (path / "old").mkdir()
    folder = read_folder(path, EMPTY, now=NOW)
    assert folder.remarks == (
        Remark("README.txt", None, None, None, "was not read: only .csv tables are"),
        Remark("old", None, None, None, "was not read: it is not at the folder's top"),
    )


def test_a_csv_that_is_no_table_is_refused_and_blames_no_other_table(tmp_path: Path) -> None:
    path = write_folder(tmp_path / "folder", {"positions": None})
    (path / "position.csv").write_text(PLANT["positions"])
    assert refusals_of(path) == (
        Refusal(
            *("position.csv", None, None, None),
            "is no table of a plant folder; did you mean 'positions.csv'?",
        ),
    )


def test_a_folder_without_tables_is_refused(tmp_path: Path) -> None:
    (found,) = refusals_of(tmp_path)
    assert (found.file, found.row, found.column, found.value) == (tmp_path.name, None, None, None)
    assert found.says.startswith("holds no table; expected at least one of: plants.csv, fluids.csv, ")


def test_a_path_that_is_not_there_and_a_file_that_is_no_archive_are_refused(tmp_path: Path) -> None:
    (tmp_path / "plant.xlsx").write_bytes(b"PK")
    assert refusals_of(tmp_path / "nowhere") == (
        Refusal(
            *("nowhere", None, None, None),
            "does not exist as a folder or .zip of CSV tables, nor an .xlsx workbook",
        ),
    )
    assert refusals_of(tmp_path / "plant.xlsx") == (
        Refusal("plant.xlsx", None, None, None, "is not a readable zip; pack the folder again"),
    )


def test_semicolons_and_decimal_commas_are_read_when_they_are_announced(tmp_path: Path) -> None:
    dp = "position;at;dp [bar];flow [L/min]\nPRESS-R1;2026-03-05T08:00;1,5;1e2\n"
    (tmp_path / "dp_readings.csv").write_text(dp)
    folder = read_folder(tmp_path, KNOWN, separator=";", decimal=",", now=NOW)
    assert folder.tables["dp_readings"][0].values["dp_bar"] == 1.5
    assert folder.tables["dp_readings"][0].values["flow_lpm"] == 100.0


def test_errors_of_every_file_are_told_together_and_in_full(tmp_path: Path) -> None:
    path = write_folder(
        tmp_path / "folder",
        {
            "plants": "plant,time_zone\nNORTH,Europe/Olso\n",
            "dp_readings": "position,at,dp [bar]\nPRESS-R1,2026-03-05,-1\nPRES-R1,2026-02-30,x\n",
        },
    )
    with pytest.raises(FolderRefused) as refused:
        read_folder(path, EMPTY, now=NOW)
    assert str(refused.value).splitlines() == [
        "plants.csv, row 2, time_zone: 'Europe/Olso' is not an IANA time zone, like Europe/Oslo; "
        "did you mean 'Europe/Oslo'?",
        "dp_readings.csv, row 2, dp [bar]: -1 bar is below 0 bar",
        "dp_readings.csv, row 3, position: unknown position 'PRES-R1': it is neither in positions.csv nor in the "
        "database; did you mean 'PRESS-R1'?",
        "dp_readings.csv, row 3, at: '2026-02-30' is not in the calendar or on the clock; expected ISO 8601, like "
        "2026-03-05 or 2026-03-05T14:30 or 2026-03-05T14:30+01:00",
        "dp_readings.csv, row 3, dp [bar]: 'x' is not a number",
        "5 errors; nothing was changed",
    ]


def test_beyond_a_hundred_the_errors_are_counted_for_each_file(tmp_path: Path) -> None:
    rows = "".join(f"PRESS-R1,2026-03-05T08:00:{second:02},-1\n" for second in range(60))
    path = write_folder(
        tmp_path / "folder", {"dp_readings": "position,at,dp [bar]\n" + rows + rows.replace("05T", "06T")}
    )
    with pytest.raises(FolderRefused) as refused:
        read_folder(path, EMPTY, now=NOW)
    assert len(refused.value.refusals) == 100
    assert refused.value.further == {"dp_readings.csv": 20}
    assert refused.value.count == 120
    assert str(refused.value).splitlines()[-2:] == [
        *("dp_readings.csv: and 20 more like these", "120 errors; nothing was changed"),
    ]


def test_20_000_readings_are_read_in_seconds(tmp_path: Path) -> None:
    start = datetime(2020, 1, 1, tzinfo=UTC).timestamp()
    rows = "".join(
        f"PRESS-R{1 + i % 2},{datetime.fromtimestamp(start + 3600 * i, UTC):%Y-%m-%dT%H:%M}Z,{i % 40}.5,60,45,clear\n"
        for i in range(20_000)
    )
    told: list[tuple[str, int, int]] = []
    header = "position,at,dp [psi],flow [gpm],oil_temperature [degC],indicator\n"
    path = write_folder(tmp_path / "folder", {"dp_readings": header + rows})
    began = time.perf_counter()
    folder = read_folder(path, EMPTY, now=NOW, progress=lambda *step: told.append(step))
    took_s = time.perf_counter() - began
    assert len(folder.tables["dp_readings"]) == 20_000
    assert told[0] == ("plants", 0, 1)
    assert told[-1] == ("dp_readings", 20_000, 20_000)
    assert took_s < 10.0, "the aim is 2 s; a slow machine gets five times that"


def test_marks_that_cannot_be_told_apart_are_a_fault_of_the_caller(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="cannot be told apart"):
        read_folder(tmp_path, EMPTY, separator=",", decimal=",", now=NOW)


def test_a_zip_reads_like_the_folder_it_was_made_of(tmp_path: Path) -> None:
    members = {f"north/{name}.csv": text for name, text in PLANT.items()}
    path = write_zip(tmp_path, members | {"__MACOSX/north/._plants.csv": "x", "north/.DS_Store": "x"})
    folder = read_folder(path, EMPTY, now=NOW)
    assert folder == read(tmp_path)


def test_a_file_that_cannot_be_read_is_told_once_and_blames_no_other_table(tmp_path: Path) -> None:
    assert [(r.file, r.row) for r in refusals(tmp_path, positions=b"")] == [("positions.csv", None)]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    at=st.integers(0, 200),
    put=st.one_of(st.binary(max_size=6), st.text(max_size=6).map(lambda text: text.encode("utf-8", "replace"))),
    table=st.sampled_from(sorted(PLANT)),
)
def test_whatever_a_file_holds_it_is_read_or_refused(tmp_path: Path, at: int, put: bytes, table: str) -> None:
    text = PLANT[table].encode()
    at %= len(text)
    path = write_folder(tmp_path / "folder", {table: text[:at] + put + text[at + len(put) :]})
    try:
        outcome: tuple[object, ...] = tuple(read_folder(path, EMPTY, now=NOW).tables)
    except FolderRefused as refused:
        outcome = refused.refusals
    assert outcome


def test_a_file_that_cannot_be_opened_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = write_folder(tmp_path / "folder", dict.fromkeys(PLANT) | {"plants": PLANT["plants"]})
    monkeypatch.setattr(Path, "open", denied)
    assert refusals_of(path) == (Refusal("plants.csv", None, None, None, "cannot be read: Permission denied"),)
