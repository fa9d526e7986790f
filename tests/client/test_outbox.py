"""The outbox: what it acknowledges is on the disk, nothing leaves it silently, and a person has the last word."""

import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api_schemas.client.outbox import CannotBeSettled, Deed, Fate, Outbox, Told

NOW = datetime(2026, 3, 5, 9, tzinfo=UTC)


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    with Outbox(tmp_path / "outbox.sqlite") as opened:
        yield opened


def closing(task: int = 1) -> Told:
    return Told("order 4", Deed.CLOSE, "PRESS", 4, {"task": task})


def test_it_is_brought_to_the_disk_at_each_commit(outbox: Outbox) -> None:
    # 3 is EXTRA, which syncs the folder too when the journal goes (sqlite.org, pragma synchronous)
    assert outbox._kept.execute("PRAGMA synchronous").fetchone()[0] == 3
    assert outbox._kept.execute("PRAGMA journal_mode").fetchone()[0] == "delete"


def test_what_was_told_is_there_when_it_is_opened_again(tmp_path: Path, outbox: Outbox) -> None:
    file = Told("order 4", Deed.ATTACH, "PRESS", 4, None, 1, "inlet.jpg")
    told = [outbox.add(closing(), NOW), outbox.add(file, NOW, b"\xff\xd8\x00")]
    with Outbox(tmp_path / "outbox.sqlite") as again:
        assert again.entries() == told
        assert again.content(told[1].id) == b"\xff\xd8\x00"
    assert (tmp_path / "outbox.sqlite").stat().st_mode & 0o777 == 0o600
    assert len({entry.idempotency_key for entry in told}) == 2


def test_a_write_that_was_torn_leaves_all_that_was_acknowledged(tmp_path: Path) -> None:
    """What a power cut leaves: part of a transaction in the file, a torn page, and the journal beside it."""
    path = tmp_path / "outbox.sqlite"
    with Outbox(path) as outbox:
        outbox.add(closing(), NOW)
    size = path.stat().st_size
    writer = sqlite3.connect(path, isolation_level=None)
    for statement in ("PRAGMA cache_size = 1", "PRAGMA synchronous = EXTRA", "BEGIN IMMEDIATE"):
        writer.execute(statement)
    for number in range(50):  # more than the cache holds, so that pages go to the file before the commit
        writer.execute(
            "INSERT INTO entries (job, deed, content, idempotency_key, written_at, fate, tries) "
            "VALUES ('order 9', 'close', randomblob(5000), ?, ?, 'waiting', 0)",
            (str(number), NOW.isoformat()),
        )
    left = tmp_path / "left"
    left.mkdir()
    for each in (path, path.with_name("outbox.sqlite-journal")):
        shutil.copyfile(each, left / each.name)
    writer.execute("ROLLBACK")
    writer.close()
    with (left / "outbox.sqlite").open("r+b") as torn:
        assert torn.seek(0, 2) > size, "nothing of the transaction reached the file"
        torn.seek(size // 2)
        torn.write(b"\x5a" * 300)
    with Outbox(left / "outbox.sqlite") as outbox:
        assert [entry.told for entry in outbox.entries()] == [closing()]
        assert outbox._kept.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_an_outbox_of_a_newer_version_is_left_alone(tmp_path: Path, outbox: Outbox) -> None:
    outbox._kept.execute("PRAGMA user_version = 99")
    with pytest.raises(ValueError, match="newer version"):
        Outbox(tmp_path / "outbox.sqlite")


def test_what_is_told_otherwise_takes_the_old_ones_place_and_its_followers_follow_it(outbox: Outbox) -> None:
    first = outbox.add(closing(), NOW)
    picture = outbox.add(Told("order 4", Deed.ATTACH, "PRESS", 4, None, first.id, "a.jpg"), NOW)
    new = outbox.replace(first.id, {"task": 2}, NOW)
    assert [entry.id for entry in outbox.entries(Fate.WAITING)] == [new.id, picture.id]
    assert outbox.entry(picture.id).told.follows == new.id
    assert new.idempotency_key != first.idempotency_key
    assert outbox.entry(first.id).told.body == {"task": 1}
    assert [line.what for line in outbox.record(first.id)] == ["told", "replaced"]


def test_what_may_have_been_done_is_neither_changed_nor_dropped(outbox: Outbox) -> None:
    entry = outbox.add(closing(), NOW)
    assert outbox.begin_try(entry.id, NOW, sent_as="shift A", sent_to="https://due.plant.example")
    for settle in (lambda: outbox.drop(entry.id, "typed twice", NOW), lambda: outbox.replace(entry.id, {}, NOW)):
        with pytest.raises(CannotBeSettled, match="may have been done: sync first"):
            settle()


def test_what_is_dropped_stays_with_its_reason_and_needs_one(outbox: Outbox) -> None:
    entry = outbox.add(closing(), NOW)
    with pytest.raises(ValueError, match="no reason"):
        outbox.drop(entry.id, " x ", NOW)
    outbox.refused(entry.id, {"detail": "closed already"}, NOW)
    outbox.drop(entry.id, "the night shift did it", NOW)
    assert outbox.entries() == [outbox.entry(entry.id)]
    assert [(line.what, line.said) for line in outbox.record(entry.id)] == [
        *(("told", None), ("refused", "closed already"), ("dropped", "the night shift did it")),
    ]
    with pytest.raises(CannotBeSettled, match="dropped already"):
        outbox.drop(entry.id, "once more", NOW)


def test_what_was_sent_is_over(outbox: Outbox) -> None:
    entry = outbox.add(closing(), NOW)
    outbox.sent(entry.id, {"id": 17}, NOW)
    outbox.refused(entry.id, {"detail": "late"}, NOW)  # a second sync that was slower
    assert (outbox.entry(entry.id).fate, outbox.entry(entry.id).number) == (Fate.SENT, 17)
    assert not outbox.begin_try(entry.id, NOW, sent_as="shift A", sent_to="https://due.plant.example")
    with pytest.raises(CannotBeSettled):
        outbox.send_again(entry.id, NOW)
