"""The migrations make what the tables say, once, whoever migrates first."""

import re
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from service import migrating
from service.database import Database
from service.migrating import HEAD, migrate
from service.schema import TABLES, metadata
from tests.databases import ON_POSTGRESQL, url_at
from tests.service.served import CHECKOUT, opened

VERSIONS = Path(migrating.__file__).parent / "migrations" / "versions"

MIGRATE = "import sys; from service.database import Database; from service.migrating import migrate;"
AT_ONCE = MIGRATE + "d = Database(sys.argv[1]); print('ready', flush=True); sys.stdin.readline(); migrate(d)"


def test_the_migrations_make_exactly_the_tables_of_the_service(tmp_path: Path) -> None:
    with opened(tmp_path / "plant.sqlite") as database, database.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_a_table_that_no_migration_makes_would_be_found(tmp_path: Path) -> None:
    beside = sa.MetaData()
    for table in metadata.tables.values():
        table.to_metadata(beside)
    sa.Table("forgotten", beside, sa.Column("id", sa.Integer, primary_key=True))
    with opened(tmp_path / "plant.sqlite") as database, database.reading() as connection:
        ((change, table, *_),) = compare_metadata(MigrationContext.configure(connection), beside)
        assert (change, table.name) == ("add_table", "forgotten")


def test_every_table_is_gathered_for_the_migrations() -> None:
    assert {table.name for table in TABLES} == set(metadata.tables)


def test_head_names_the_newest_revision_and_the_revisions_form_one_line() -> None:
    numbers = sorted(path.name[:4] for path in VERSIONS.glob("[0-9]*.py"))
    config = Config()
    config.set_main_option("script_location", str(VERSIONS.parent))
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]
    assert numbers[-1] == HEAD
    assert numbers == [f"{number:04}" for number in range(1, len(numbers) + 1)]


def test_migrating_again_changes_nothing(tmp_path: Path) -> None:
    with opened(tmp_path / "plant.sqlite") as database:
        before = _schema(database)
        migrate(database)
        assert _schema(database) == before
        assert before["alembic_version"]


def test_processes_that_migrate_at_once_all_end_well(tmp_path: Path) -> None:
    url = url_at(tmp_path / "plant.sqlite")
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", AT_ONCE, url],
            cwd=CHECKOUT,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for _ in range(2)
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    ended = [(process.communicate(timeout=60)[1], process.returncode) for process in processes]
    assert [code for _, code in ended] == [0, 0], ended
    with closing(Database(url)) as database, database.reading() as connection:
        assert connection.scalar(sa.text("SELECT version_num FROM alembic_version")) == HEAD
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_a_migration_that_fails_leaves_the_database_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(Database(url_at(tmp_path / "plant.sqlite"))) as database:
        with database.writing() as connection:
            connection.execute(sa.text("CREATE TABLE passes (in_the_way INTEGER)"))
        with pytest.raises(sa.exc.DBAPIError, match="already exists"):
            migrate(database)
        first_failing = next(
            path.name[:4] for path in sorted(VERSIONS.glob("[0-9]*.py")) if '"passes"' in path.read_text()
        )
        kept = f"{int(first_failing) - 1:04}"
        with database.reading() as connection:
            assert connection.scalar(sa.text("SELECT version_num FROM alembic_version")) == kept
            made = set(sa.inspect(connection).get_table_names())
        others = re.findall(r'create_table\(\s*"(\w+)"', _text_of(first_failing))
        assert len(others) > 1
        assert made.isdisjoint(set(others) - {"passes"})


def _text_of(revision: str) -> str:
    return next(VERSIONS.glob(f"{revision}*.py")).read_text()


_OF_SQLITE = "SELECT name, sql FROM sqlite_master"
_OF_POSTGRESQL = (
    "SELECT c.relname AS name, coalesce(pg_get_indexdef(i.indexrelid), (SELECT string_agg(concat_ws(' ', a.attname, "
    "a.atttypid::regtype, a.attcollation::regcollation, a.attnotnull), ', ' ORDER BY a.attnum) FROM pg_attribute a "
    "WHERE a.attrelid = c.oid)) AS sql FROM pg_class c LEFT JOIN pg_index i ON i.indexrelid = c.oid "
    "WHERE c.relnamespace = 'public'::regnamespace"
)


def _schema(database: Database) -> dict[str, str]:
    with database.reading() as connection:
        query = sa.text(_OF_POSTGRESQL if ON_POSTGRESQL else _OF_SQLITE)
        return {row.name: row.sql for row in connection.execute(query)}
