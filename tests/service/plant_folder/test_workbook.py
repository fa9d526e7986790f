"""A plant as an .xlsx workbook: what a spreadsheet keeps is read as the same table in CSV would be.

The workbooks come from XlsxWriter and what is written is read by calamine, two libraries that know nothing of ours;
the serial numbers of days are those of ECMA-376 part 1, 18.17.4.
"""

import csv
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook
from xlsxwriter.worksheet import Worksheet

from service.database import Database
from service.demo.folder import write_demo_folder
from service.plant_folder.folder import Folder
from service.plant_folder.known import EMPTY
from service.plant_folder.layout import TABLES as LAYOUTS
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import Refusal, Remark
from service.plant_folder.workbook import Shown, shown_by
from service.plant_folder.writing import TargetRefused
from tests.service.plant_folder.invented_plant import NOW, TABLES, read, refusals_of
from tests.service.plant_folder.kept_plant import LATER, export, kept, take, take_tables, texts
from tests.service.plant_folder.written_workbook import (
    DP_HEADER,
    HEADER_ROW,
    Fill,
    dp_rows,
    inline,
    rows,
    write_parts,
    write_workbook,
)

pytestmark = pytest.mark.one_database_is_enough

SHEET = "plant.xlsx, sheet dp_readings"
THREE_MOMENTS = [datetime.fromisoformat(text) for text in ("2026-03-05", "2026-03-06T08:30", "2026-03-07")]


def read_workbook(at: Path, *, is_1904: bool = False, **fills: Fill | None) -> Folder:
    return read_folder(write_workbook(at / "plant.xlsx", fills, is_1904=is_1904), EMPTY, now=NOW)


def refusals(at: Path, **fills: Fill | None) -> tuple[Refusal, ...]:
    return refusals_of(write_workbook(at / "plant.xlsx", fills))


def test_a_workbook_reads_like_the_folder_of_its_tables(tmp_path: Path) -> None:
    workbook, folder = read_workbook(tmp_path), read(tmp_path)
    assert workbook == folder
    assert list(workbook.tables) == [layout.name for layout in LAYOUTS if layout.name in TABLES]


def test_what_a_file_is_its_content_says_and_not_its_name(tmp_path: Path) -> None:
    write_workbook(tmp_path / "plant.xlsx", {}).rename(tmp_path / "upload.zip")
    assert read_folder(tmp_path / "upload.zip", EMPTY, now=NOW) == read(tmp_path)
    (tmp_path / "old.xlsx").write_bytes(bytes.fromhex("D0CF11E0A1B11AE1") + bytes(600))
    assert refusals_of(tmp_path / "old.xlsx") == (
        Refusal(
            *("old.xlsx", None, None, None),
            "is a workbook in an old format or with a password; save it as .xlsx without a password",
        ),
    )


def test_a_code_that_was_typed_as_a_number_is_read_as_it_is_shown(tmp_path: Path) -> None:
    def parts(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write_row(0, 0, ("part_number", "kind", "description"))
        sheet.write_row(1, 0, (12, "gasket", 4.5))
        sheet.write_string(2, 0, "0012")
        sheet.write_string(2, 1, "gasket")

    read_parts = read_workbook(
        tmp_path, parts=parts, element_types=rows(("part_number", "kind"), ("E-10", "element"))
    )
    assert [row.values for row in read_parts.tables["parts"]] == [
        {"part_number": "12", "kind": "gasket", "description": "4.5"},
        {"part_number": "0012", "kind": "gasket"},
    ]


def test_a_code_of_more_digits_than_a_number_keeps_is_refused(tmp_path: Path) -> None:
    sheet = rows(("part_number", "kind"), (12345678901234567, "gasket"))
    (found,) = refusals(tmp_path, parts=sheet, element_types=rows(("part_number", "kind"), ("E-10", "element")))
    assert (found.row, found.column) == (2, "part_number")
    assert "15 digits at most; format the cell as text" in found.says


@pytest.mark.parametrize("is_1904", [False, True])
def test_a_day_is_a_bare_date_and_a_time_is_the_plants(tmp_path: Path, is_1904: bool) -> None:
    def dp(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        with_time = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write_row(0, 0, DP_HEADER)
        for at, (moment, shown) in enumerate(zip(THREE_MOMENTS, (day, with_time, with_time), strict=True), start=1):
            sheet.write_string(at, 0, "PRESS-R1")
            sheet.write_datetime(at, 1, moment, shown)
            sheet.write_number(at, 2, 1.5)

    folder = read_workbook(tmp_path, is_1904=is_1904, dp_readings=dp)
    moments = [(row.values["at"], row.values["at_is_date"]) for row in folder.tables["dp_readings"]]
    assert moments == [  # Oslo is at UTC+1 in winter; a bare date is noon
        (datetime(2026, 3, 5, 11, tzinfo=UTC), True),
        (datetime(2026, 3, 6, 7, 30, tzinfo=UTC), False),
        (datetime(2026, 3, 6, 23, tzinfo=UTC), False),  # 00:00 is shown, so midnight is meant
    ]
    theirs = CalamineWorkbook.from_path(tmp_path / "plant.xlsx").get_sheet_by_name("dp_readings").to_python()
    assert [_at_midnight(row[1]) for row in theirs[1:]] == THREE_MOMENTS


def _at_midnight(cell: Any) -> datetime:
    return cell if isinstance(cell, datetime) else datetime.combine(cell, time.min)


@pytest.mark.parametrize(
    ("serial", "is_1904", "text"),
    [
        ("61", False, "1900-03-01"),
        ("2958465", False, "9999-12-31"),
        ("46086.354166666664", False, "2026-03-05T08:30"),
        ("44624.354166666664", True, "2026-03-05T08:30"),
        ("0", True, "1904-01-01"),
    ],
)
def test_serial_numbers_are_days_of_both_systems(tmp_path: Path, serial: str, is_1904: bool, text: str) -> None:
    # from memory, as every spreadsheet shows them: day 61 is 1900-03-01, day 0 of 1904 is 1904-01-01
    style = (
        '<cellXfs count="1"><xf numFmtId="22"/></cellXfs>'
        if "T" in text
        else '<cellXfs><xf numFmtId="14"/></cellXfs>'
    )
    cells = f'<row r="1">{inline("A1", "part_number")}{inline("B1", "kind")}{inline("C1", "x_day")}</row>'
    cells += f'<row r="2">{inline("A2", "K-1")}{inline("B2", "gasket")}<c r="C2" s="0"><v>{serial}</v></c></row>'
    path = write_parts(
        tmp_path / "b.xlsx", f"<sheetData>{cells}</sheetData>", name="parts", parts=_styled(style, is_1904)
    )
    assert read_folder(path, EMPTY, now=NOW).tables["parts"][0].notes == {"x_day": text}


def _styled(style: str, is_1904: bool) -> dict[str, str]:
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    return {
        "xl/styles.xml": f"<styleSheet>{style}</styleSheet>",
        "xl/workbook.xml": f'<workbook xmlns:r="{office}"><workbookPr date1904="{int(is_1904)}"/>'
        '<sheets><sheet name="parts" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships><Relationship Id="rId1" Type="{office}/worksheet"'
        f' Target="/xl/worksheets/sheet1.xml"/><Relationship Id="rId2" Type="{office}/styles" Target="styles.xml"/>'
        "</Relationships>",
    }


@pytest.mark.parametrize(
    ("code", "shown"),
    [
        ("General", Shown.NUMBER),
        ("0.00", Shown.NUMBER),
        ('#,##0 "days"', Shown.NUMBER),
        ("[Red]0.0", Shown.NUMBER),
        ("0.0%", Shown.PERCENTAGE),
        ("yyyy-mm-dd", Shown.DATE),
        ("[$-409]d mmm yy;@", Shown.DATE),
        ("mmmm", Shown.DATE),
        ("dd.mm.yyyy hh:mm:ss", Shown.DATE_AND_TIME),
        ("h:mm AM/PM", Shown.TIME),
        ("mm:ss", Shown.TIME),
        ("[h]:mm", Shown.DURATION),
        ("[mm]:ss", Shown.DURATION),
    ],
)
def test_a_number_format_says_what_its_cells_show(code: str, shown: Shown) -> None:
    assert shown_by(code) is shown  # ECMA-376 part 1, 18.8.31


def test_a_duration_is_no_number_of_hours_and_a_date_no_code(tmp_path: Path) -> None:
    def meters(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write_row(0, 0, ("system", "meter", "at", "hours [h]"))
        sheet.write_row(1, 0, ("PRESS", None, "2026-03-05"))
        sheet.write_number(1, 3, 51.4375, book.add_format({"num_format": "[h]:mm"}))  # shows 1234:30
        sheet.write_string(2, 0, "PRESS")
        sheet.write_datetime(2, 1, THREE_MOMENTS[0], book.add_format({"num_format": "d-m"}))  # was typed as 5-3
        sheet.write_row(2, 2, ("2026-03-05", 10))

    assert refusals(tmp_path, meter_readings=meters) == (
        Refusal(
            *("plant.xlsx, sheet meter_readings", 2, "hours [h]", "51.4375"),
            "'51.4375' is formatted as a duration; this column takes a plain number or text",
        ),
        Refusal(
            *("plant.xlsx, sheet meter_readings", 3, "meter", "46086"),
            "'46086' is formatted as a date; this column takes a plain number or text",
        ),
    )


def test_a_percentage_is_a_share_of_one_and_no_quantity_in_per_cent(tmp_path: Path) -> None:
    def shown_as_percentage(header: tuple[str, ...], cells: tuple[str, ...], share: float) -> Fill:
        def fill(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
            sheet.write_row(0, 0, header)
            sheet.write_row(1, 0, cells)
            sheet.write_number(1, len(cells), share, book.add_format({"num_format": "0 %"}))

        return fill

    plants = shown_as_percentage(("plant", "time_zone", "risk"), ("NORTH", "Europe/Oslo"), 0.2)
    assert read_workbook(tmp_path, plants=plants).tables["plants"][0].values["risk"] == 0.2
    header = ("system", "at", "at_rest", "defined_position", "level [%]")
    checks = shown_as_percentage(header, ("PRESS", "2026-03-05", "yes", "yes"), 0.8)
    assert refusals(tmp_path, level_checks=checks) == (
        Refusal(
            *("plant.xlsx, sheet level_checks", 2, "level [%]", "0.8"),
            "'0.8' is shown as 80 %; format the cell as a plain number and type it again",
        ),
    )


def test_a_truth_is_yes_or_no_where_the_column_is_and_refused_elsewhere(tmp_path: Path) -> None:
    checks = rows(
        ("system", "at", "level [%]", "at_rest", "defined_position"), ("PRESS", "2026-03-05", 80, True, False)
    )
    values = read_workbook(tmp_path, level_checks=checks).tables["level_checks"][0].values
    assert (values["at_rest"], values["defined_position"], values["level_pct"]) == ("yes", "no", 80.0)
    assert refusals(tmp_path, dp_readings=dp_rows(("PRESS-R1", "2026-03-05", True))) == (
        Refusal(
            *(SHEET, 2, "dp [bar]", "TRUE"),
            "is TRUE, which this column does not take; write the value as text or number",
        ),
    )


def test_an_error_and_a_formula_without_its_value_are_refused_at_their_cell(tmp_path: Path) -> None:
    def dp(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write_row(0, 0, DP_HEADER)
        sheet.write_row(4, 0, ("PRESS-R1", "2026-03-05"))
        sheet.write_formula(4, 2, "=NA()", None, "#N/A")
        sheet.write_row(6, 0, ("PRESS-R1", "2026-03-06"))
        sheet.write_formula(6, 2, "=1+0.5", None, 1.5)

    assert refusals(tmp_path, dp_readings=dp) == (
        Refusal(SHEET, 5, "dp [bar]", "#N/A", "holds the error #N/A; put in a value or empty the cell"),
    )
    bare = f'<row r="2">{inline("A2", "PRESS-R1")}{inline("B2", "2026-03-05")}<c r="C2"><f>1+0.5</f></c></row>'
    path = write_parts(tmp_path / "bare.xlsx", f"<sheetData>{HEADER_ROW}{bare}</sheetData>")
    told = {refusal.says for refusal in refusals_of(path)}
    assert "holds a formula without its value; open the workbook, let it calculate, save it" in told


def test_a_formula_is_its_last_value(tmp_path: Path) -> None:
    def dp(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write_row(0, 0, DP_HEADER)
        sheet.write_formula(1, 0, '="PRESS"&"-R1"', None, "PRESS-R1")
        sheet.write_string(1, 1, "2026-03-05")
        sheet.write_formula(1, 2, "=1+0.5", None, 1.5)

    values = read_workbook(tmp_path, dp_readings=dp).tables["dp_readings"][0].values
    assert (values["position"], values["dp_bar"]) == ("PRESS-R1", 1.5)


def test_formatted_but_empty_rows_and_columns_are_nothing(tmp_path: Path) -> None:
    def dp(book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        bold = book.add_format({"bold": True})
        sheet.write_row(2, 0, (*DP_HEADER, "", ""), bold)  # the header stands in row 3
        sheet.write_row(4, 0, ("PRESS-R1", "2026-03-05T08:00", 1.5, "", "  "), bold)
        for row in range(5, 40):
            sheet.write_blank(row, 6, None, bold)

    (row,) = read_workbook(tmp_path, dp_readings=dp).tables["dp_readings"]
    assert (row.line, row.values["dp_bar"]) == (5, 1.5)


def test_a_sheet_that_is_no_table_is_refused_with_the_nearest_and_one_of_the_plants_own_is_remarked(
    tmp_path: Path,
) -> None:
    assert refusals(tmp_path, dp_readings=None, dp_reading=rows(DP_HEADER), x_plot=rows((1, 2))) == (
        Refusal(
            *("plant.xlsx, sheet dp_reading", None, None, None),
            "is no table of a plant folder; did you mean 'dp_readings'? (sheets of your own begin with x_)",
        ),
    )
    assert read_workbook(tmp_path, x_plot=rows((1, 2))).remarks == (
        Remark(
            *("plant.xlsx, sheet x_plot", None, None, None),
            "was not read: a sheet whose name begins with x_ is your own",
        ),
    )


def test_merged_cells_are_refused_and_a_title_above_the_header_is_told_once(tmp_path: Path) -> None:
    def merged(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.write_row(0, 0, DP_HEADER)
        sheet.write_row(1, 1, ("2026-03-05", 1.5))
        sheet.write_row(2, 1, ("2026-03-06", 1.5))
        sheet.merge_range(1, 0, 2, 0, "PRESS-R1")

    told = refusals(tmp_path, dp_readings=merged)
    assert [(each.row, each.value) for each in told] == [(3, ""), (2, "A2:A3")]
    assert told[1].says == "the cells A2:A3 are merged; unmerge them: each cell of a table stands for itself"

    def titled(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        sheet.merge_range(0, 0, 0, 2, "What we read in March")
        sheet.write_row(1, 0, DP_HEADER)
        sheet.write_row(2, 0, ("PRESS-R1", "2026-03-05", 1.5))

    (found,) = refusals(tmp_path, dp_readings=titled)
    assert (found.file, found.row, found.value) == (SHEET, 1, "What we read in March")
    assert found.says.startswith("has none of the columns of dp_readings: position, at, stage, dp, ")


def test_the_errors_of_all_sheets_are_told_together_with_the_sheets_own_row_numbers(tmp_path: Path) -> None:
    told = refusals(
        tmp_path,
        plants=rows(("plant", "time_zone"), ("NORTH", "Europe/Olso")),
        dp_readings=dp_rows(("PRESS-R1", "2026-03-05", -1), ("PRESS-R9", "2026-03-05", "a lot")),
    )
    assert [(each.file, each.row, each.column) for each in told] == [
        ("plant.xlsx, sheet plants", 2, "time_zone"),
        (SHEET, 2, "dp [bar]"),
        (SHEET, 3, "position"),
        (SHEET, 3, "dp [bar]"),
    ]


def test_decimal_commas_that_were_announced_hold_for_text_cells_and_not_for_numbers(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "plant.xlsx", {"dp_readings": dp_rows(("PRESS-R1", "2026-03-05", 1.5))})
    sheet = dp_rows(("PRESS-R1", "2026-03-05", 1.5), ("PRESS-R1", "2026-03-06", "1,25"))
    path = write_workbook(tmp_path / "plant.xlsx", {"dp_readings": sheet, "plants": _NORTH})
    folder = read_folder(path, EMPTY, now=NOW, separator=";", decimal=",")
    assert [row.values["dp_bar"] for row in folder.tables["dp_readings"]] == [1.5, 1.25]


_NORTH = rows(("plant", "time_zone", "altitude [m]"), ("NORTH", "Europe/Oslo", 1000.5))


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with kept(tmp_path / "plant.sqlite") as opened:
        yield opened


def test_an_exported_workbook_changes_nothing_and_an_empty_database_gives_the_same_tables_again(
    tmp_path: Path, database: Database
) -> None:
    write_demo_folder(tmp_path / "given", (NOW - timedelta(days=1)).date())
    take(database, tmp_path / "given")
    counts = export(database, tmp_path / "plant.xlsx")
    export(database, tmp_path / "folder")
    assert not take(database, tmp_path / "plant.xlsx", now=LATER).changes_anything
    with kept(tmp_path / "fresh.sqlite") as fresh:
        take(fresh, tmp_path / "plant.xlsx", now=LATER)
        assert export(fresh, tmp_path / "again.xlsx") == counts
        export(fresh, tmp_path / "folder again")
    assert texts(tmp_path / "folder again") == texts(tmp_path / "folder")
    assert (tmp_path / "again.xlsx").read_bytes() == (tmp_path / "plant.xlsx").read_bytes()


def test_another_reader_finds_the_tables_cell_by_cell_texts_as_texts_and_numbers_to_the_last_bit(
    tmp_path: Path, database: Database
) -> None:
    words = "part_number,kind,description,pack,x_own\n0012,gasket,=1+1,5,<b>&\"'\n-3,gasket,_x0041_ ølje,,\n"
    dp = f"position,at,dp [bar]\nPRESS-R1,2026-03-05T08:00,{0.1 + 0.2!r}\nPRESS-R1,2026-03-06,1e-7\n"
    take_tables(
        database, tmp_path / "given", parts=words, element_types="part_number,kind\nE-10,element\n", dp_readings=dp
    )
    export(database, tmp_path / "plant.xlsx")
    export(database, tmp_path / "folder")
    book = CalamineWorkbook.from_path(tmp_path / "plant.xlsx")
    assert book.sheet_names == [layout.name for layout in LAYOUTS if layout.name in TABLES]
    for name in book.sheet_names:
        theirs = book.get_sheet_by_name(name).to_python()
        ours = list(csv.reader((tmp_path / "folder" / f"{name}.csv").read_text(encoding="utf-8").splitlines()))
        assert [
            [_as_kept(cell, text) for cell, text in zip(*both, strict=True)]
            for both in zip(theirs, ours, strict=True)
        ] == ours
    parts = book.get_sheet_by_name("parts").to_python()
    assert [row[:4] for row in parts[1:]] == [["-3", "gasket", "_x0041_ ølje", ""], ["0012", "gasket", "=1+1", 5.0]]
    assert [row[2] for row in book.get_sheet_by_name("dp_readings").to_python()[1:]] == [0.1 + 0.2, 1e-7]
    assert not take(database, tmp_path / "plant.xlsx", now=LATER).changes_anything


def _as_kept(cell: Any, text: str) -> str:
    """The text of the CSV export where calamine's cell is the same text or the same number."""
    is_same = float(text) == cell if isinstance(cell, float) else text == cell
    return text if is_same else f"{cell!r} instead of {text!r}"


def test_more_rows_than_a_worksheet_has_are_refused_and_nothing_is_left(
    tmp_path: Path, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_tables(database, tmp_path / "given")
    monkeypatch.setattr("service.plant_folder.workbook_writing.LAST_ROW", 2)
    with pytest.raises(TargetRefused, match=r"has more rows than a worksheet's 2; export a folder or a \.zip"):
        export(database, tmp_path / "plant.xlsx")
    assert not (tmp_path / "plant.xlsx").exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]
