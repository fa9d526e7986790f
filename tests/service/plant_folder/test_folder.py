"""Rows beyond some thousand wait on disk and come back as they were."""

from datetime import UTC, datetime, timedelta

import pytest

from service.plant_folder.folder import FolderRow, FolderRows

FIRST = datetime(2026, 3, 5, 7, tzinfo=UTC)


def row(line: int) -> FolderRow:
    values: dict[str, object] = {"position": f"P-{line}", "at": FIRST + timedelta(minutes=line), "at_is_date": False}
    notes = {"x_round": "east"} if line % 7 == 0 else {}
    return FolderRow(line, values, notes, "R7" if line % 5 == 0 else None, FIRST if line % 3 == 0 else None)


def filled(count: int, block: int) -> FolderRows:
    rows = FolderRows()
    for line in range(count):
        rows.append(row(line))
        if line % block == block - 1:
            rows.end_block()
    return rows


@pytest.mark.parametrize("count", [0, 1, 7, 70, 77, 400])
def test_rows_come_back_in_their_order_as_often_as_they_are_asked_for(count: int) -> None:
    rows = filled(count, block=7)  # beyond ten blocks they are on disk
    assert len(rows) == count
    assert list(rows) == list(rows) == [row(line) for line in range(count)]
    assert rows == FolderRows(row(line) for line in range(count))
    if count:
        assert rows[count - 1] == row(count - 1)


def test_rows_can_be_read_by_two_at_once_and_appended_to_after_that() -> None:
    rows = filled(200, block=10)
    assert all(one == other for one, other in zip(rows, rows, strict=True))
    rows.append(row(200))
    rows.end_block()
    assert [each.line for each in rows] == list(range(201))


def test_rows_that_were_given_back_are_gone() -> None:
    rows = filled(200, block=10)
    rows.close()
    rows.close()
    assert (len(rows), list(rows)) == (0, [])
