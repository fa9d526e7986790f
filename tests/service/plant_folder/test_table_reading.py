"""Rows against other rows: references, keys, rules between columns, lives of one position."""

from pathlib import Path

import pytest

from service.plant_folder.known import Known, PlantTerms
from service.plant_folder.refusals import Refusal, Remark
from tests.service.plant_folder.invented_plant import TABLES, read, refusals, refusals_of, write_folder

POSITIONS = "position,system,place,part_number\n"


def test_an_unknown_part_is_refused_with_the_nearest(tmp_path: Path) -> None:
    text = POSITIONS + "PRESS-R1,PRESS,return,E-1O\nPRESS-R2,PRESS,return,E-20\n"
    assert refusals(tmp_path, positions=text) == (
        Refusal(
            *("positions.csv", 2, "part_number", "E-1O"),
            "unknown element type 'E-1O': it is neither in element_types.csv nor in the database; "
            "did you mean 'E-10'?",
        ),
    )


def test_a_seal_kit_is_no_element(tmp_path: Path) -> None:
    text = POSITIONS + "PRESS-R1,PRESS,return,K-1\n"
    assert refusals(tmp_path, positions=text) == (
        Refusal("positions.csv", 2, "part_number", "K-1", "'K-1' is a seal kit in parts, not an element type"),
    )


def test_an_unknown_part_of_the_stock_is_refused(tmp_path: Path) -> None:
    counts = "E-10,MAIN,4,2026-03-05\nK-1,MAIN,4,2026-03-05\nZZZZ,MAIN,4,2026-03-05\n"
    text = "part_number,store,on_hand,counted_at\n" + counts
    assert refusals(tmp_path, stock=text) == (
        Refusal(
            *("stock.csv", 4, "part_number", "ZZZZ"),
            "unknown part number 'ZZZZ': it is neither in element_types.csv or parts.csv nor in the database",
        ),
    )


def test_codes_compare_exactly(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\npress-r1,2026-03-05,1.5\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 2, "position", "press-r1"),
            "unknown position 'press-r1': it is neither in positions.csv nor in the database; "
            "did you mean 'PRESS-R1'?",
        ),
    )


def test_a_part_number_is_either_an_element_or_another_part(tmp_path: Path) -> None:
    text = TABLES["element_types"] + "K-1,element,\n"
    assert refusals(tmp_path, element_types=text) == (
        Refusal(
            *("element_types.csv", 4, "part_number", "K-1"),
            "'K-1' is already in parts (seal kit): part numbers are one name space",
        ),
    )


def test_a_part_number_that_the_database_has_as_an_element_is_no_other_part(tmp_path: Path) -> None:
    path = write_folder(tmp_path / "folder", dict.fromkeys(TABLES) | {"parts": "part_number,kind\nE-10,gasket\n"})
    known = Known(plants={"NORTH": PlantTerms("Europe/Oslo")}, element_types=frozenset({"E-10"}))
    assert refusals_of(path, known) == (
        Refusal(
            *("parts.csv", 2, "part_number", "E-10"),
            "'E-10' is already in element_types (element type): part numbers are one name space",
        ),
    )


def test_a_key_with_other_values_is_refused_naming_both_rows(tmp_path: Path) -> None:
    text = (
        "position,at,dp [bar],flow [L/min]\nPRESS-R1,2026-03-05T08:00,1.5,60\n\nPRESS-R1,2026-03-05T07:00Z,1.6,60\n"
    )
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 4, "position, at", "PRESS-R1, 2026-03-05T07:00Z"),
            "rows 2 and 4 have the same key (PRESS-R1, 2026-03-05T07:00Z), "
            "but dp [bar] is '1.6' here and '1.5' there",
        ),
    )


def test_a_row_that_repeats_another_is_taken_once(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\nPRESS-R1,2026-03-05T08:00,1.5\nPRESS-R1,2026-03-05T08:00,1.50\n"
    folder = read(tmp_path, dp_readings=text)
    assert [row.line for row in folder.tables["dp_readings"]] == [2]
    assert folder.remarks == (
        Remark(
            *("dp_readings.csv", 3, "position, at", "PRESS-R1, 2026-03-05T08:00"),
            "the row repeats row 2 and is taken once",
        ),
    )


def test_an_empty_key_cell_stands_for_its_usual_value(tmp_path: Path) -> None:
    text = "system,at,kind,hours [h]\nPRESS,2026-03-05,,10\nPRESS,2026-03-05,reading,11\nPRESS,2026-03-05,last,12\n"
    (found,) = refusals(tmp_path, meter_readings=text)
    assert found.row == 3
    assert found.says.startswith("rows 2 and 3 have the same key")


def test_readings_before_and_after_a_change_on_one_day_are_two(tmp_path: Path) -> None:
    text = "position,at,stage,dp [bar]\nPRESS-R1,2026-03-05,before,2.5\nPRESS-R1,2026-03-05,after,0.4\n"
    assert len(read(tmp_path, dp_readings=text).tables["dp_readings"]) == 2


def test_two_positions_of_a_system_may_be_opened_at_the_same_time(tmp_path: Path) -> None:
    text = "system,at,kind,position\nPRESS,2026-03-05,opened,PRESS-R1\nPRESS,2026-03-05,opened,PRESS-R2\n"
    assert len(read(tmp_path, events=text).tables["events"]) == 2


@pytest.mark.parametrize(
    ("table", "text", "column", "value", "says"),
    [
        (
            *("fluids", "fluid,viscosity_40 [mm2/s],grade\nHM46,,\n"),
            *("viscosity_40 [mm2/s], grade", "", "at least one of viscosity_40, grade must be given"),
        ),
        (
            *("dp_readings", "position,at,upstream [bar],downstream [bar]\nPRESS-R1,2026-03-05,3,\n"),
            *("upstream [bar], downstream [bar]", "3"),
            "upstream, downstream belong together; downstream is empty",
        ),
        (
            *("dp_readings", "position,at,upstream [bar]\nPRESS-R1,2026-03-05,3\n"),
            *("upstream [bar], downstream", "3"),
            "upstream, downstream belong together; downstream is empty",
        ),
        (
            *("dp_readings", "position,at,dp [bar],flow [L/min]\nPRESS-R1,2026-03-05,,60\n"),
            *("dp [bar], upstream, vacuum, indicator", ""),
            "at least one of dp, upstream, vacuum, indicator must be given",
        ),
        (
            *("supply", "order,line,part_number,fluid,quantity,expected_at\nO1,1,K-1,HM46,4,2026-09-01\n"),
            *("part_number, fluid", "K-1, HM46"),
            "exactly one of part_number, fluid must be given; part_number and fluid are given",
        ),
        (
            *("stops", "plant,system,starts_at,ends_at\n,,2026-09-01,2026-09-02\n"),
            *("plant, system", ""),
            "exactly one of plant, system must be given; none is given",
        ),
        (
            *("stops", "plant,starts_at,ends_at\nNORTH,2026-09-02T10:00,2026-09-02T10:00\n"),
            *("ends_at", "2026-09-02T10:00"),
            "ends_at 2026-09-02T10:00:00+02:00 is not after starts_at 2026-09-02T10:00:00+02:00"
            " (a bare date is 12:00 plant time)",
        ),
        (
            *("installations", "position,fitted_at,part_number,removed_at\nPRESS-R1,2026-03-05,E-10,2026-03-04\n"),
            *("removed_at", "2026-03-04", "removed_at 2026-03-04 is before fitted_at 2026-03-05"),
        ),
    ],
)
def test_what_must_hold_between_columns(
    tmp_path: Path, table: str, text: str, column: str, value: str, says: str
) -> None:
    assert refusals(tmp_path, **{table: text}) == (Refusal(f"{table}.csv", 2, column, value, says),)


LIVES = "position,fitted_at,part_number,removed_at\n"


@pytest.mark.parametrize(
    "rows",
    [
        "PRESS-R1,2026-01-05,E-10,2026-02-05\nPRESS-R1,2026-02-05T08:00,E-10,\n",  # changed on a day, hour unknown
        "PRESS-R1,2026-02-05T08:00,E-10,\nPRESS-R1,2026-01-05,E-10,2026-02-05T08:00\n",
        "PRESS-R1,2026-01-05,E-10,\nPRESS-R2,2026-02-05,E-10,\n",
        "PRESS-R1,2026-01-05T14:00,E-10,2026-01-05\n",
        "PRESS-R1,2025-10-26T23:50,E-10,2025-10-26\nPRESS-R1,2025-10-26,E-20,2025-10-26T00:10\n",
    ],
    ids=["same-day", "to-the-minute", "other-position", "for-an-afternoon", "on-a-day-of-25-hours"],
)
def test_lives_that_follow_each_other_are_accepted(tmp_path: Path, rows: str) -> None:
    assert read(tmp_path, installations=LIVES + rows).remarks == ()


def test_lives_of_one_position_that_overlap_are_refused(tmp_path: Path) -> None:
    rows = "PRESS-R1,2026-01-05,E-10,2026-02-06\nPRESS-R1,2026-02-05,E-10,\n"
    assert refusals(tmp_path, installations=LIVES + rows) == (
        Refusal(
            *("installations.csv", 2, "removed_at", "2026-02-06"),
            "this element leaves 'PRESS-R1' after row 3 has fitted the next one",
        ),
    )


def test_a_life_without_an_end_before_the_next_is_refused(tmp_path: Path) -> None:
    rows = "PRESS-R1,2026-01-05,E-10\nPRESS-R1,2026-02-05,E-10\n"
    assert refusals(tmp_path, installations="position,fitted_at,part_number\n" + rows) == (
        Refusal(
            *("installations.csv", 2, "removed_at", ""),
            "'PRESS-R1' still holds this element (no removed_at), yet row 3 fits another; "
            "give this row its removed_at",
        ),
    )


@pytest.mark.parametrize(("indicator_bar", "is_remarked"), [("1.7", False), ("2.5", True), ("3", True)])
def test_an_indicator_that_is_not_below_its_bypass_is_remarked(
    tmp_path: Path, indicator_bar: str, is_remarked: bool
) -> None:
    # an indicator is always set below the cracking pressure of the bypass: common practice, no source
    text = "position,system,place,part_number,indicator_dp [bar],bypass_dp [bar]\n"
    folder = read(tmp_path, positions=f"{text}PRESS-R1,PRESS,return,E-10,{indicator_bar},2.5\n")
    remark = Remark(
        *("positions.csv", 2, "indicator_dp [bar]", indicator_bar),
        f"the indicator trips at {indicator_bar} bar, the bypass cracks already at 2.5 bar: an indicator is set "
        "below its bypass; kept as given",
    )
    assert folder.remarks == ((remark,) if is_remarked else ())


def test_a_mistyped_hazard_is_remarked_because_its_cautions_are_lost(tmp_path: Path) -> None:
    text = "system,plant,fluid,reservoir_volume [L],hazards\nPRESS,NORTH,HM46,400,acumulator;noise\n"
    assert read(tmp_path, systems=text).remarks == (
        Remark(
            *("systems.csv", 2, "hazards", "acumulator;noise"),
            "'acumulator' is kept as the plant's own word, without the cautions of 'accumulator'",
        ),
    )


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("events", "system,at,kind,position\nSAW,2026-03-06,changeover,PRESS-R1\n"),
        ("oil_samples", "system,at,code,position\nSAW,2026-03-06,18/16/13,PRESS-R1\n"),
    ],
)
def test_a_position_of_another_system_is_remarked_since_it_may_have_moved(
    tmp_path: Path, table: str, text: str
) -> None:
    folder = read(tmp_path, systems=TABLES["systems"] + "SAW,NORTH,HM46,120\n", **{table: text})
    says = "'PRESS-R1' is a position of 'PRESS', not of 'SAW'; kept as given"
    assert folder.remarks == (Remark(f"{table}.csv", 2, "position", "PRESS-R1", says),)


def test_a_removal_without_hours_or_reason_is_accepted(tmp_path: Path) -> None:
    assert read(tmp_path, installations=LIVES + "PRESS-R1,2026-01-05,E-10,2026-02-05\n").remarks == ()


def test_counts_that_are_alike_are_cumulative_all_the_same(tmp_path: Path) -> None:
    text = "system,at,count_4 [1/mL],count_6 [1/mL],count_14 [1/mL]\nPRESS,2026-03-06,20,20,\nPRESS,2026-03-07,9,,9\n"
    assert read(tmp_path, oil_samples=text).remarks == ()
