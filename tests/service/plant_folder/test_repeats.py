"""Whether a key was met before: three numbers a row and sorted runs, beside an ordinary dictionary."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plant_folder import table_reading
from service.plant_folder.refusals import Refusal, Remark
from service.plant_folder.repeats import Trace, Traces, TracesMet
from tests.service.plant_folder.invented_plant import read, refusals

DP = "position,at,dp [bar]\n"


@settings(max_examples=200, deadline=None)
@given(blocks=st.lists(st.lists(st.integers(0, 30), max_size=12), max_size=12))
def test_the_first_row_of_each_key_is_found_whatever_the_blocks(blocks: list[list[int]]) -> None:
    met, first_of, line = TracesMet(), dict[int, Trace](), 0
    for block in blocks:
        traces = Traces()
        expected: dict[int, Trace] = {}
        for index, key in enumerate(block):
            line += 1
            traces.add((key,), [f"written in row {line}"], line)
            first = first_of.setdefault(key, traces[index])
            if first.line != line:
                expected[index] = first
        assert met.meet(traces) == expected


def test_a_contradiction_far_from_its_first_row_is_told_with_both_cells(tmp_path: Path) -> None:
    rows = "".join(
        f"PRESS-R1,2026-03-05T{i // 60:02}:{i % 60:02}:{s:02},1.5\n" for i in range(600) for s in range(10)
    )
    text = DP + rows + "PRESS-R1,2026-03-05T00:00:03Z,1.50\nPRESS-R1,2026-03-05T01:00:03,1.50\n"
    text += "PRESS-R1,2026-03-05T00:00:04,2.5\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 6004, "position, at", "PRESS-R1, 2026-03-05T00:00:04"),
            "rows 6 and 6004 have the same key (PRESS-R1, 2026-03-05T00:00:04), but dp [bar] is '2.5' here and "
            "'1.5' there",
        ),
    )


def test_a_file_written_twice_is_taken_once(tmp_path: Path) -> None:
    rows = "".join(f"PRESS-R1,2026-03-05T{i // 60:02}:{i % 60:02},1.5\n" for i in range(1000))
    folder = read(tmp_path, dp_readings=DP + rows + rows)
    assert [row.line for row in folder.tables["dp_readings"]] == list(range(2, 1002))
    assert len(folder.remarks) == 101
    assert folder.remarks[0] == Remark(
        *("dp_readings.csv", 1002, "position, at", "PRESS-R1, 2026-03-05T00:00"),
        "the row repeats row 2 and is taken once",
    )
    assert folder.remarks[-1].says == "and 900 more remarks"


def test_keys_that_only_share_a_hash_are_different_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = DP + "PRESS-R1,2026-03-05,1.5\nPRESS-R1,2026-03-06,1.5\nPRESS-R2,2026-03-05,1.5\n"
    monkeypatch.setattr("service.plant_folder.repeats.Traces.add", _all_alike)
    folder = read(tmp_path, dp_readings=text)
    assert [(row.line, row.values["position"]) for row in folder.tables["dp_readings"]] == [
        *((2, "PRESS-R1"), (3, "PRESS-R1"), (4, "PRESS-R2"))
    ]


def _all_alike(traces: Traces, key: tuple[object, ...], cells: list[str], line: int) -> None:
    traces.keys.append(1)
    traces.cells.append(line)
    traces.lines.append(line)


def test_rows_in_other_words_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_reading, "MOST_REPEATS_IN_OTHER_WORDS", 2)
    rows = "".join(f"PRESS-R1,2026-03-05,1.5{'0' * zeros}\n" for zeros in range(4))
    (found,) = refusals(tmp_path, dp_readings=DP + rows)
    assert (found.row, found.says) == (
        *(5, "has more than 2 rows with the key of an earlier row, written otherwise; keep one row of each key"),
    )


def test_a_table_of_more_rows_than_are_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_reading, "MOST_FACTS", 2)
    rows = "".join(f"PRESS-R1,2026-03-0{day},1.5\n" for day in (5, 6, 7))
    (found,) = refusals(tmp_path, dp_readings=DP + rows)
    assert found.says == "has more than 2 rows; send them in several folders"
