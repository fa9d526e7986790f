"""A position holds one element at a time, whether a folder or a close-out told of it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.database import Database
from service.plant_folder.refusals import FolderRefused, Refusal
from tests.service.plant_folder.kept_plant import current, kept, take_only, take_tables

HEADER = "position,fitted_at,part_number,removed_at\n"
OPEN = f"{HEADER}PRESS-R1,2026-01-05T08:00,E-10,\n"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """A plant in which PRESS-R1 was fitted in January and is still in."""
    with kept(tmp_path / "plant.sqlite") as opened:
        take_tables(opened, tmp_path / "first", installations=OPEN)
        yield opened


def refusal(database: Database, at: Path, rows: str) -> Refusal:
    before = current(database, "installations")
    with pytest.raises(FolderRefused) as refused:
        take_only(database, at / "next", installations=HEADER + rows)
    assert current(database, "installations") == before, "a refused folder changes nothing"
    (found,) = refused.value.refusals
    return found


def test_a_second_element_in_a_position_that_still_holds_one_is_refused(tmp_path: Path, database: Database) -> None:
    assert refusal(database, tmp_path, "PRESS-R1,2026-03-05,E-20,\n") == Refusal(
        *("installations.csv", 2, "fitted_at", "2026-03-05"),
        "'PRESS-R1' still holds 'E-10' fitted at 2026-01-05T08:00:00+01:00 (recorded earlier), which has no "
        "removed_at, yet 'E-20' fitted at 2026-03-05 (row 2) follows it; add a row with that fitted_at and its "
        "removed_at; if both are one stay, give this row the recorded fitted_at",
    )


def test_an_open_stay_before_the_recorded_one_is_refused(tmp_path: Path, database: Database) -> None:
    assert refusal(database, tmp_path, "PRESS-R1,2025-12-24T09:00,E-20,\n") == Refusal(
        *("installations.csv", 2, "removed_at", ""),
        "'PRESS-R1' still holds 'E-20' fitted at 2025-12-24T09:00:00+01:00 (row 2), which has no removed_at, yet "
        "'E-10' fitted at 2026-01-05T08:00:00+01:00 (recorded earlier) follows it; give this row its removed_at",
    )


def test_a_stay_that_ends_within_the_recorded_one_is_refused(tmp_path: Path, database: Database) -> None:
    found = refusal(database, tmp_path, "PRESS-R1,2025-12-24T09:00,E-20,2026-01-05T09:00\n")
    assert (found.row, found.column, found.value) == (2, "removed_at", "2026-01-05T09:00:00+01:00")
    assert found.says == (
        "'E-20' fitted at 2025-12-24T09:00:00+01:00 (row 2) leaves 'PRESS-R1' only at 2026-01-05T09:00:00+01:00, "
        "after 'E-10' fitted at 2026-01-05T08:00:00+01:00 (recorded earlier) came in; correct the time that is wrong"
    )


def test_a_stay_that_begins_within_the_recorded_one_is_refused(tmp_path: Path, database: Database) -> None:
    ended = f"{HEADER}PRESS-R1,2026-01-05T08:00,E-10,2026-03-05T08:00\n"
    take_only(database, tmp_path / "ended", installations=ended)
    found = refusal(database, tmp_path, "PRESS-R1,2026-03-01,E-20,\n")
    assert (found.row, found.column, found.value) == (2, "fitted_at", "2026-03-01")
    assert "leaves 'PRESS-R1' only at 2026-03-05T08:00:00+01:00" in found.says


def test_a_change_that_is_told_whole_is_taken(tmp_path: Path, database: Database) -> None:
    rows = "PRESS-R1,2026-01-05T08:00,E-10,2026-03-05T08:00\nPRESS-R1,2026-03-05,E-20,\n"
    take_only(database, tmp_path / "next", installations=HEADER + rows)
    assert [row["part_number"] for row in current(database, "installations") if not row["removed_at"]] == ["E-20"]


def test_a_bare_date_may_be_any_time_of_the_day_on_which_the_earlier_element_left(
    tmp_path: Path, database: Database
) -> None:
    ended = "PRESS-R1,2026-01-05T08:00,E-10,2026-03-05T16:00\n"  # after the noon that stands for the bare date
    take_only(database, tmp_path / "ended", installations=HEADER + ended)
    take_only(database, tmp_path / "next", installations=f"{HEADER}PRESS-R1,2026-03-05,E-20,\n")
    assert len(current(database, "installations")) == 2


def test_other_positions_are_left_in_peace(tmp_path: Path, database: Database) -> None:
    outcome = take_only(database, tmp_path / "next", installations=f"{HEADER}PRESS-R2,2026-02-01,E-10,\n")
    assert outcome.tables["installations"].added == 1


def test_every_overlap_of_a_folder_is_told(tmp_path: Path, database: Database) -> None:
    take_only(database, tmp_path / "other", installations=f"{HEADER}PRESS-R2,2026-02-01,E-10,\n")
    rows = "PRESS-R1,2026-03-05,E-20,\nPRESS-R2,2026-03-06,E-20,\n"
    with pytest.raises(FolderRefused) as refused:
        take_only(database, tmp_path / "next", installations=HEADER + rows)
    assert [(found.row, found.value) for found in refused.value.refusals] == [(2, "2026-03-05"), (3, "2026-03-06")]
