"""Files made to fill a memory or to keep a machine busy: each is refused, in seconds and in little memory.

All are read by one child process, one after the other; its peak is that of the whole process, interpreter and
libraries included.
"""

import json
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from service.plant_folder import workbook
from service.plant_folder.limits import LAST_COLUMN, LONGEST_ROW, MOST_BYTES, MOST_COLUMNS, MOST_DIRECTORY_BYTES
from tests.service.plant_folder.invented_plant import TABLES, refusals_of, write_folder
from tests.service.plant_folder.written_workbook import HEADER_ROW, inline, write_parts

pytestmark = pytest.mark.one_database_is_enough

SECONDS = 20.0  # each takes a second at most on an idle machine
MEGABYTES = 300

DP = "position,at,dp [bar]\n"

_CHILD = """
import json, sys, time
from datetime import UTC, datetime
from pathlib import Path
from service.plant_folder.known import EMPTY
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import FolderRefused
from tests.measure.peak_memory import peak_MB

told = {}
for path in sorted(Path(sys.argv[1]).iterdir()):
    began = time.perf_counter()
    says = []
    try:
        read_folder(path, EMPTY, now=datetime(2026, 6, 1, tzinfo=UTC))
    except FolderRefused as refused:
        says = [str(each) for each in refused.refusals]
    took = time.perf_counter() - began
    told[path.name] = [took, peak_MB(), says]
print(json.dumps(told))
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    took_s: float
    peak_MB: float
    refusals: list[str]


def csv_folder(dp_readings: str | bytes) -> Callable[[Path], object]:
    return lambda at: write_folder(at, {"dp_readings": dp_readings})


def packed(dp_readings: bytes) -> Callable[[Path], object]:
    def write(at: Path) -> None:
        with zipfile.ZipFile(at, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.writestr("dp_readings.csv", dp_readings)

    return write


def sheet(inside: str) -> Callable[[Path], object]:
    return lambda at: write_parts(at, inside)


def a_file_of_2_gigabytes(at: Path) -> None:
    write_folder(at, {})
    with (at / "dp_readings.csv").open("ab") as file:
        file.truncate(2 * 10**9)  # a hole, so that the test itself needs no disk


def a_sheet_that_announces_2_gigabytes(at: Path) -> None:
    write_parts(at, f"<sheetData>{HEADER_ROW}</sheetData>")
    _announce(at, "xl/worksheets/sheet1.xml", 2 * 10**9)


def a_member_larger_than_announced(at: Path) -> None:
    packed(DP.encode() + b"PRESS-R1,2026-03-05,1.5\n" * 100_000)(at)
    _announce(at, "dp_readings.csv", len(DP) + 24)


def _announce(path: Path, member: str, size: int) -> None:
    """Write another unpacked size into the archive's directory (APPNOTE 4.3.12: offset 24 of the entry)."""
    data = bytearray(path.read_bytes())
    entry = data.rindex(b"PK\x01\x02", 0, data.rindex(member.encode()))
    data[entry + 24 : entry + 28] = struct.pack("<L", size)
    path.write_bytes(data)


def an_archive_of_30_000_members(at: Path) -> None:
    with zipfile.ZipFile(at, "w") as archive:
        for number in range(30_000):
            archive.writestr(f"{number}.csv", "")


def a_workbook_whose_entities_multiply(at: Path) -> None:
    entities = '<!ENTITY a "ten of them">' + "".join(
        f'<!ENTITY {after} "{f"&{before};" * 10}">' for before, after in zip("abcdefgh", "bcdefghi", strict=True)
    )
    text = f'<?xml version="1.0"?><!DOCTYPE worksheet [{entities}]><worksheet>{inline("A1", "&i;")}</worksheet>'
    write_parts(at, "", parts={"xl/worksheets/sheet1.xml": text})


LONE = "<sheetData>" + HEADER_ROW
FAR = f'{LONE}<row r="2">{inline("A2", "PRESS-R1")}{inline("XFD2", "far")}</row></sheetData>'

KINDS: dict[str, tuple[Callable[[Path], object], str]] = {
    "a zip bomb.zip": (packed(bytes(64 * 1024**2)), "more than 200 times: that is no table"),
    "a member larger than announced.zip": (a_member_larger_than_announced, "is damaged in the archive"),
    "30,000 members.zip": (an_archive_of_30_000_members, "holds more than 1000 members"),
    "2 gigabytes": (a_file_of_2_gigabytes, f"above the limit of {MOST_BYTES}"),
    "2 gigabytes.xlsx": (a_sheet_that_announces_2_gigabytes, f"above the limit of {MOST_BYTES}"),
    "a workbook bomb.xlsx": (sheet(" " * 64 * 1024**2), "more than 200 times: that is no table"),
    "two cells far apart.xlsx": (
        sheet(
            f'{LONE}<row r="1048576">{inline("A1048576", "PRESS-R1")}{inline("XFD1048576", "far")}</row></sheetData>'
        ),
        "the row has more cells than the header: 'far' is beyond its 3 columns",
    ),
    "a row after the last.xlsx": (sheet(f'{LONE}<row r="1048577"/></sheetData>'), "beyond row 1048576"),
    "a column after the last.xlsx": (
        sheet(f'<sheetData><row r="1">{inline("XFE1", "dp [bar]")}</row></sheetData>'),
        f"not in order or beyond column {LAST_COLUMN}",
    ),
    "a million columns.xlsx": (
        sheet(
            "<sheetData><row>"
            + "".join(f"<c t='str'><v>{n}</v></c>" for n in range(1_000_000))
            + "</row></sheetData>"
        ),
        f"not in order or beyond column {LAST_COLUMN}",
    ),
    "16,000 columns.xlsx": (
        sheet("<sheetData><row>" + "<c t='str'><v>dp</v></c>" * 16_000 + "</row></sheetData>"),
        f"has 16000 columns; at most {MOST_COLUMNS} are read",
    ),
    "entities.xlsx": (a_workbook_whose_entities_multiply, "declares a document type"),
    "an endless tag.xlsx": (sheet(f'<sheetData><row r="1" x="{"y" * 5_000_000}'), "holds a tag of more than"),
    "an endless cell.xlsx": (
        sheet(f"{LONE}<row><c><v>{'9' * 5_000_000}</v></c></row></sheetData>"),
        f"the row is longer than {LONGEST_ROW} characters",
    ),
    "deep.xlsx": (sheet("<a>" * 100_000), "nests more than 64 elements"),
    "half a sheet.xlsx": (sheet(f"{LONE}<row r='2'><c"), "is damaged inside the workbook"),
    "a million columns": (csv_folder(",".join(["x_a"] * 1_000_000) + "\n"), f"longer than {LONGEST_ROW} characters"),
    "5,000 columns": (
        csv_folder("position,at,dp [bar]," + ",".join(f"x_{i}" for i in range(5_000)) + "\n"),
        f"has 5003 columns; at most {MOST_COLUMNS} are read",
    ),
    "a line without end": (csv_folder(DP + "9" * 50_000_000), f"longer than {LONGEST_ROW} characters"),
    "a quotation without end": (
        csv_folder(DP + '"' + "PRESS-R1,2026-03-05\n" * 500_000),
        "quotation marks do not match",
    ),
    "a row without end": (csv_folder(DP + '"a\n",' * 500_000), f"longer than {LONGEST_ROW} characters"),
    "commas": (csv_folder(DP + ("," * 150_000 + "x\n") * 20), f"has 150001 columns; at most {MOST_COLUMNS} are read"),
    "blanks in a header": (csv_folder("position,at,dp" + " " * 100_000 + "x [bar]\n"), f"{' ' * 80}"),
    "digits and a letter": (csv_folder(DP + f"PRESS-R1,2026-03-05,{'1' * 100_000}x\n" * 50), "is not a number"),
    "400 digits": (csv_folder(DP + f"PRESS-R1,2026-03-05,{'9' * 400}\n"), "beyond any number that can be kept"),
    "a large exponent": (csv_folder(DP + "PRESS-R1,2026-03-05,1e999\n"), "beyond any number that can be kept"),
    "not a number": (csv_folder(DP + "PRESS-R1,2026-03-05,NaN\n"), "'NaN' is not a number"),
    "infinity": (csv_folder(DP + "PRESS-R1,2026-03-05,-inf\n"), "'-inf' is not a number"),
    "nulls": (csv_folder(DP + "PRESS-R1\0,2026-03-05,1.5\n"), "holds the control character U+0000"),
    "an escape": (csv_folder(DP + "PRESS\x1b[2J-R1,2026-03-05,1.5\n"), "holds the control character U+001B"),
    "no text": (csv_folder(bytes(range(256)) * 1000), "is not UTF-8"),
    "not a number.xlsx": (sheet(LONE + "<row><c/><c/><c><v>NaN</v></c></row></sheetData>"), "none that can be kept"),
    "400 digits.xlsx": (
        sheet(f"{LONE}<row><c/><c/><c><v>{'9' * 400}</v></c></row></sheetData>"),
        "none that can be kept",
    ),
    "an escape.xlsx": (
        sheet(f'{LONE}<row r="2">{inline("A2", "PRESS_x001B_R1")}</row></sheetData>'),
        "holds the control character U+001B",
    ),
}


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Outcome]:
    folder = tmp_path_factory.mktemp("hostile")
    for name, (write, _) in KINDS.items():
        write(folder / name)
    command = [sys.executable, "-c", _CHILD, str(folder)]
    child = subprocess.run(command, capture_output=True, text=True, check=False, timeout=SECONDS * len(KINDS))
    assert child.returncode == 0, child.stderr[-2000:]
    return {name: Outcome(*told) for name, told in json.loads(child.stdout).items()}


@pytest.mark.parametrize("kind", KINDS)
def test_a_hostile_file_is_refused_in_bounded_time_and_memory(kind: str, outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes[kind]
    assert any(KINDS[kind][1] in refusal for refusal in outcome.refusals), outcome.refusals[:3]
    assert max(len(refusal) for refusal in outcome.refusals) < 2000
    assert outcome.took_s < SECONDS
    assert outcome.peak_MB < MEGABYTES


def test_the_directory_of_an_archive_is_bounded_whatever_its_end_announces(tmp_path: Path) -> None:
    path = tmp_path / "plant.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("plants.csv", TABLES["plants"])
    data = bytearray(path.read_bytes())
    end = data.rindex(b"PK\x05\x06")  # APPNOTE 4.3.16: the size of the directory stands at offset 12
    data[end + 12 : end + 16] = struct.pack("<L", MOST_DIRECTORY_BYTES + 1)
    path.write_bytes(data)
    (refused,) = refusals_of(path)
    assert refused.says == "holds more than 1000 members; pack only the tables"


@pytest.mark.parametrize(("limit", "most"), [("MOST_SHARED_STRINGS", 2), ("MOST_SHARED_CHARACTERS", 20)])
def test_the_texts_that_sheets_share_are_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, most: int
) -> None:
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    shared = "".join(f"<si><t>{text}</t></si>" for text in ("position", "at", "dp [bar]", "PRESS-R1"))
    related = "".join(
        f'<Relationship Id="rId{number}" Type="{office}/{kind}" Target="{target}"/>'
        for number, (kind, target) in enumerate(
            [("worksheet", "worksheets/sheet1.xml"), ("sharedStrings", "texts.xml")], start=1
        )
    )
    parts = {
        "xl/texts.xml": f"<sst>{shared}</sst>",
        "xl/_rels/workbook.xml.rels": f"<Relationships>{related}</Relationships>",
    }
    path = write_parts(tmp_path / "plant.xlsx", f"<sheetData>{HEADER_ROW}</sheetData>", parts=parts)
    monkeypatch.setattr(workbook, limit, most)
    (refused,) = refusals_of(path)
    assert "send the readings as CSV tables" in refused.says
