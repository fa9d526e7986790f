"""How the database is opened: what is committed stays, writers queue, and a time is a moment."""

import threading
from collections.abc import Iterator
from contextlib import closing, nullcontext
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError, InternalError, OperationalError, StatementError

from service import database as opening
from service.database import Database, UtcTime, is_busy
from tests.databases import ON_POSTGRESQL, url_at

WRITERS, WRITES_EACH = 4, 25

metadata = sa.MetaData()
counters = sa.Table(
    "counters",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("value", sa.Integer, nullable=False),
)
moments = sa.Table(
    "moments",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", UtcTime),
    sa.Column("counter", sa.ForeignKey("counters.id")),
)
codes = sa.Table("codes", metadata, sa.Column("code", sa.Text))


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with closing(Database(url_at(tmp_path / "plant.sqlite"))) as opened:
        metadata.create_all(opened.engine)
        with opened.writing() as connection:
            connection.execute(sa.insert(counters).values(id=1, value=0))
        yield opened


def pragma(database: Database, name: str) -> object:
    with database.reading() as connection:
        return connection.exec_driver_sql(f"PRAGMA {name}").scalar()


@pytest.mark.sqlite_only
def test_a_commit_reaches_the_disk_before_it_is_acknowledged(database: Database) -> None:
    assert pragma(database, "journal_mode") == "wal"
    assert pragma(database, "synchronous") == 2  # FULL; sqlite.org/pragma.html#pragma_synchronous


def test_a_row_that_refers_to_nothing_is_refused(database: Database) -> None:
    with pytest.raises(IntegrityError), database.writing() as connection:
        connection.execute(sa.insert(moments).values(counter=99))


def test_writers_that_read_before_they_write_wait_for_each_other_and_none_fails(database: Database) -> None:
    failures: list[BaseException] = []
    together = threading.Barrier(WRITERS)

    def count_up() -> None:
        together.wait()
        try:
            for _ in range(WRITES_EACH):
                with database.writing() as connection:
                    value = connection.scalar(sa.select(counters.c.value))
                    connection.execute(sa.update(counters).values(value=value + 1))
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=count_up) for _ in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.reading() as connection:
        counted = connection.scalar(sa.select(counters.c.value))
    assert failures == []
    assert counted == WRITERS * WRITES_EACH  # a deferred transaction would have failed or lost counts


def test_a_reader_sees_one_state_while_a_writer_commits(database: Database) -> None:
    with database.reading() as reader:
        before = reader.scalar(sa.select(counters.c.value))
        with database.writing() as writer:
            writer.execute(sa.update(counters).values(value=7))
        assert reader.scalar(sa.select(counters.c.value)) == before == 0
    with database.reading() as reader:
        assert reader.scalar(sa.select(counters.c.value)) == 7


def test_a_block_that_fails_keeps_nothing(database: Database) -> None:
    def fail_after_writing() -> None:
        with database.writing() as connection:
            connection.execute(sa.update(counters).values(value=1))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_after_writing()
    with database.reading() as connection:
        assert connection.scalar(sa.select(counters.c.value)) == 0


def test_what_is_written_in_a_reading_block_is_not_kept(database: Database) -> None:
    refused = pytest.raises(InternalError, match="read-only") if ON_POSTGRESQL else nullcontext()
    with refused, database.reading() as connection:
        connection.execute(sa.update(counters).values(value=1))
    with database.reading() as connection:
        assert connection.scalar(sa.select(counters.c.value)) == 0


def test_a_writer_that_waited_too_long_is_told_so(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "_WRITER_WAITS_MS", 50)
    with (
        closing(Database(database.url)) as impatient,
        database.writing(),
        pytest.raises(OperationalError) as told,
        impatient.writing(),
    ):
        pass
    assert is_busy(told.value)


def test_a_writer_that_does_not_wait_is_told_so_at_once_and_gets_its_turn_where_there_is_no_other(
    database: Database,
) -> None:
    with (
        closing(Database(database.url)) as beside,
        database.writing(),
        pytest.raises(OperationalError) as told,
        beside.writing(waits=False),
    ):
        pass
    assert is_busy(told.value)
    with database.writing(waits=False) as connection:
        connection.execute(sa.update(counters).values(value=2))
    with database.reading() as connection:
        assert connection.scalar(sa.select(counters.c.value)) == 2


def test_an_error_that_is_not_another_writers_is_not_taken_for_one(database: Database) -> None:
    with pytest.raises(DBAPIError) as told, database.reading() as connection:
        connection.execute(sa.text("SELECT value FROM no_such_table"))
    assert not is_busy(told.value)


def test_texts_are_ordered_by_code_point_and_not_by_the_language_of_the_server(database: Database) -> None:
    told = ["a-1", "B-1", "Ä-1", "a_1", "b-1", "A-1", "𝛽-1", "ﬀ-1", "10", "9"]
    with database.writing() as connection:
        connection.execute(sa.insert(codes), [{"code": code} for code in told])
    with database.reading() as connection:
        assert list(connection.scalars(sa.select(codes.c.code).order_by(codes.c.code))) == sorted(told)
        if ON_POSTGRESQL:  # whose server may have been made with such a locale
            (column,) = sa.inspect(connection).get_columns("codes")
            assert column["type"].collation == "C"


@pytest.mark.parametrize("driver", ["postgresql", "postgresql+psycopg"])
def test_a_plain_postgresql_address_is_opened_with_the_driver_that_is_locked(driver: str) -> None:
    with closing(Database(f"{driver}://anna@127.0.0.1/plant")) as opened:
        assert opened.engine.dialect.driver == "psycopg"
        assert not opened.is_sqlite


def test_a_time_comes_back_in_utc_whatever_offset_it_went_in_with(database: Database) -> None:
    told = datetime(2026, 10, 25, 2, 30, tzinfo=timezone(timedelta(hours=2)))
    with database.writing() as connection:
        connection.execute(sa.insert(moments).values(id=1, at=told))
        connection.execute(sa.insert(moments).values(id=2, at=None))
    with database.reading() as connection:
        kept, missing = connection.scalars(sa.select(moments.c.at).order_by(moments.c.id))
    assert kept == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert kept.utcoffset() == timedelta(0)
    assert missing is None


def test_a_time_without_a_zone_is_refused_in_values_and_in_comparisons(database: Database) -> None:
    naive = datetime(2026, 3, 5, 8)  # noqa: DTZ001 - what must be refused
    with pytest.raises(StatementError, match="has no time zone"), database.writing() as connection:
        connection.execute(sa.insert(moments).values(at=naive))
    with pytest.raises(StatementError, match="has no time zone"), database.reading() as connection:
        connection.execute(sa.select(moments).where(moments.c.at < naive))
