"""The command line: exit codes, what goes to stdout and what to stderr, and a job done against a server."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.cli.main import DONE, FAULT, REFUSED, USAGE, main
from service.database import Database
from service.schema import TABLES as TABLES_KEPT
from service.schema import metadata
from tests.databases import url_at
from tests.service.evidence_files import jpeg_of_a_camera, pdf
from tests.service.served import ServerProcess, run
from tests.service.small_plant import (
    ELEMENT,
    LAST_HOURS,
    LAST_READING,
    LOT,
    PLANT,
    POSITIONS,
    TABLES,
    write_small_plant,
)

pytestmark = pytest.mark.one_database_is_enough

Command = Callable[..., "Ended"]


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    code: int
    stdout: str
    stderr: str

    @property
    def told(self) -> Any:
        return json.loads(self.stdout)


@pytest.fixture
def elementdue(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Iterator[Command]:
    """Runs a command in this process; beside a database in the test's own folder unless it says another."""
    left_open: list[Database] = []

    def open_and_remember(url: Any) -> Database:
        left_open.append(Database(url))
        return left_open[-1]

    monkeypatch.setenv("ELEMENTDUE_DATABASE", url_at(tmp_path / "plant.sqlite"))
    monkeypatch.setattr("service.cli.opening.Database", open_and_remember)  # a process's end closes them otherwise

    def command(*arguments: object) -> Ended:
        monkeypatch.setattr(sys, "argv", ["elementdue", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return Ended(int(ended.value.code or 0), said.out, said.err)

    yield command
    for database in left_open:
        database.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_small_plant(tmp_path / "small")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The database that `elementdue` works beside."""
    return tmp_path / "plant.sqlite"


def content(file: Path) -> list[str]:
    """Everything that the database holds."""
    with closing(Database(url_at(file))) as database, database.reading() as connection:
        return [f"{table.name} {tuple(row)}" for table in TABLES_KEPT for row in connection.execute(sa.select(table))]


def count(file: Path, table: str) -> int:
    with closing(Database(url_at(file))) as database, database.reading() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(metadata.tables[table])) or 0


def test_a_folder_is_imported_and_again_changes_nothing(elementdue: Command, folder: Path, file: Path) -> None:
    first = elementdue("import", folder)
    assert (first.code, first.stdout) == (DONE, "")
    assert "import 1" in first.stderr
    assert count(file, "positions") == len(POSITIONS)
    again = elementdue("import", folder, "--json")
    assert again.code == DONE
    assert {name: (counts["added"], counts["updated"]) for name, counts in again.told["tables"].items()} == (
        dict.fromkeys(TABLES, (0, 0))
    )


def test_a_dry_run_tells_what_would_come_and_changes_nothing(elementdue: Command, folder: Path, file: Path) -> None:
    elementdue("keys", "list")  # the database is there
    before = content(file)
    tried = elementdue("import", folder, "--dry-run", "--json")
    assert (tried.code, tried.told["id"], tried.told["dry_run"]) == (DONE, None, True)
    assert tried.told["tables"]["positions"]["added"] == len(POSITIONS)
    assert content(file) == before
    assert elementdue("import", folder).code == DONE
    assert content(file) != before


def test_a_folder_that_is_not_in_order_is_refused_in_full_and_changes_nothing(
    elementdue: Command, folder: Path, file: Path
) -> None:
    elementdue("keys", "list")
    before = content(file)
    (folder / "positions.csv").write_text("position,system,place,part_number,flow [bar]\nP,NOWHERE,return,E-10,3\n")
    refused = elementdue("import", folder, "--json")
    assert (refused.code, refused.stdout) == (REFUSED, "")
    assert "positions.csv" in refused.stderr
    assert "flow [bar]" in refused.stderr
    assert content(file) == before


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["nonsense"],
        ["due", "--nonsense"],
        ["import"],
        ["import", "/no/such/folder"],
        ["due", "--as-of", "yesterday"],
        ["due", "--as-of", "2025-03-02T08:00"],
        ["due", "--as-of", "9999-12-31"],
        ["plan", "--as-of", "2025-02-30"],
        ["keys", "create", "a"],
        ["keys", "create", "a", "--scope", "everything"],
        ["jobs", "show", "one"],
        ["jobs", "close", "--position", "LINE1-R1", "--dp-before", "2.1"],
        ["jobs", "close", "--position", "LINE1-R1", "--dp-before", "2.1 furlong"],
        ["jobs", "close", "--position", "LINE1-R1", "--oil", "HM46"],
        ["serve", "--port", "0"],
        ["serve", "--tls-certificate", __file__],
        ["demand", "--buying", "--learned"],
        ["demand", "--periods", "25"],
        ["demand", "--write", "x.ods"],
        ["demand", "--level", "0.3"],
        ["due", "--database", "nonsense"],
        ["due", "--database", "nonsense://"],
    ],
    ids=" ".join,
)
def test_a_command_that_cannot_be_meant_ends_with_2_and_says_why_on_stderr(
    elementdue: Command, arguments: list[str]
) -> None:
    ended = elementdue(*arguments)
    assert ended.code == USAGE
    assert ended.stderr.strip() or not arguments
    assert "Traceback" not in ended.stderr
    assert not arguments or ended.stdout == ""


def test_a_fault_of_ours_ends_with_3_keeps_nothing_and_says_so(
    elementdue: Command, folder: Path, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("a slip of ours")

    elementdue("import", folder)
    before = content(file)
    monkeypatch.setattr("service.cli.plant.run_pass", fail)
    ended = elementdue("plan")
    assert (ended.code, ended.stdout) == (FAULT, "")
    assert "a slip of ours" in ended.stderr
    assert "The fault is ours" in ended.stderr
    assert content(file) == before


def test_ctrl_c_ends_with_1(elementdue: Command, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("service.cli.plant.import_folder", interrupt)
    ended = elementdue("import", folder)
    assert (ended.code, ended.stdout, ended.stderr.strip()) == (REFUSED, "", "stopped")


def test_due_before_the_first_pass_says_what_to_do(elementdue: Command, folder: Path) -> None:
    elementdue("import", folder)
    refused = elementdue("due", "--json")
    assert (refused.code, refused.stdout) == (REFUSED, "")
    assert "`elementdue plan`" in refused.stderr


def test_due_answers_from_the_last_pass_and_says_which(elementdue: Command, folder: Path) -> None:
    elementdue("import", folder)
    planned = elementdue("plan")
    assert (planned.code, planned.stdout) == (DONE, "")
    assert "pass 1: 6 positions" in planned.stderr
    due = elementdue("due", "--json")
    assert (due.code, due.stderr, due.told["planned"]["id"]) == (DONE, "", 1)
    assert {item["position"] for item in due.told["items"]} == set(POSITIONS)
    table = elementdue("due", "--all")
    assert all(position in table.stdout for position in POSITIONS)
    assert "pass 1" in table.stdout
    assert elementdue("due", "--json", "--system", "LINE2").told["items"][0]["system"] == "LINE2"


def test_due_of_a_day_is_computed_afresh_for_its_end_in_the_plant_and_kept_nowhere(
    elementdue: Command, folder: Path, file: Path
) -> None:
    elementdue("import", folder)
    before = content(file)
    of_a_day = elementdue("due", "--as-of", "2025-03-02", "--json")
    assert (of_a_day.code, of_a_day.told["planned"]["id"]) == (DONE, None)
    as_of = {datetime.fromisoformat(item["as_of"]) for item in of_a_day.told["items"]}
    assert as_of == {datetime.fromisoformat("2025-03-02T23:59:59.999999+01:00")}
    # 800 h on 1 March, a limit of 1,000 h, and never more than 24 h a day: not due on the 2nd, due within the year
    assert all(item["hours_left"] > 0 for item in of_a_day.told["items"])
    assert {item["due_at"][:4] for item in of_a_day.told["items"]} == {"2025"}
    of_a_time = elementdue("due", "--as-of", "2025-03-02T22:59:59.999999Z", "--json")
    assert [item["due_at"] for item in of_a_time.told["items"]] == [item["due_at"] for item in of_a_day.told["items"]]
    assert content(file) == before


def test_due_without_a_plant_says_what_to_do(elementdue: Command) -> None:
    refused = elementdue("due", "--as-of", "2025-03-02")
    assert refused.code == REFUSED
    assert "import a plant folder" in refused.stderr


def test_export_writes_a_folder_that_changes_nothing(elementdue: Command, folder: Path, tmp_path: Path) -> None:
    elementdue("import", folder)
    written = elementdue("export", tmp_path / "out")
    assert (written.code, written.stdout) == (DONE, "")
    again = elementdue("import", tmp_path / "out", "--json").told
    assert {(counts["added"], counts["updated"], counts["corrected"]) for counts in again["tables"].values()} == {
        (0, 0, 0)
    }


def test_a_key_is_printed_once_alone_on_stdout_then_listed_without_its_secret_and_revoked(
    elementdue: Command, file: Path
) -> None:
    made = elementdue("keys", "create", "shift A", "--scope", "read", "--scope", "work", "--days", "30")
    secret = made.stdout.strip()
    assert made.code == DONE
    assert made.stdout == f"{secret}\n"
    assert " " not in secret
    assert "read, work" in made.stderr
    assert secret not in made.stderr
    listed = elementdue("keys", "list")
    assert [line.split("\t")[:3] for line in listed.stdout.splitlines()] == [["shift A", "holds", "read, work"]]
    assert secret not in listed.stdout
    assert not any(secret in line for line in content(file))
    assert elementdue("keys", "revoke", "shift A").code == DONE
    assert elementdue("keys", "list").stdout.split("\t")[1] == "revoked"


def test_a_name_that_is_taken_and_a_key_that_is_not_there_are_refused(elementdue: Command) -> None:
    elementdue("keys", "create", "shift A", "--scope", "read")
    taken = elementdue("keys", "create", "shift A", "--scope", "read")
    assert (taken.code, taken.stdout) == (REFUSED, "")
    assert "shift A" in taken.stderr
    assert elementdue("keys", "revoke", "shift B").code == REFUSED


def test_a_key_of_one_plant_is_made_for_a_plant_that_is_there_and_listed_with_it(
    elementdue: Command, folder: Path
) -> None:
    unknown = elementdue("keys", "create", "shift A", "--scope", "read", "--plant", PLANT)
    assert (unknown.code, unknown.stdout) == (REFUSED, "")
    assert f"'{PLANT}'" in unknown.stderr
    elementdue("import", folder)
    assert f"in plant {PLANT}" in elementdue("keys", "create", "shift A", "--scope", "read", "--plant", PLANT).stderr
    assert "in all plants" in elementdue("keys", "create", "office", "--scope", "plan").stderr
    listed = elementdue("keys", "list").stdout.splitlines()
    assert [line.split("\t")[3:] for line in listed] == [
        [f"plant {PLANT}", "never expires", "never used"],
        ["all plants", "never expires", "never used"],
    ]


def test_the_demo_is_loaded_once_and_never_beside_a_plant(elementdue: Command, folder: Path, file: Path) -> None:
    first = elementdue("demo")
    assert (first.code, first.stdout) == (DONE, "")
    assert "was loaded" in first.stderr
    held = content(file)
    again = elementdue("demo")
    assert again.code == DONE
    assert "nothing was loaded" in again.stderr
    assert content(file) == held
    beside = url_at(file.with_name("other.sqlite"))
    elementdue("import", folder, "--database", beside)
    assert "nothing was loaded" in elementdue("demo", "--database", beside).stderr
    assert count(file.with_name("other.sqlite"), "systems") == 2


def test_a_command_is_heard_the_same_from_a_shell(file: Path, folder: Path) -> None:
    assert run("import", str(folder), database=file).returncode == DONE
    refused = run("due", database=file)
    assert (refused.returncode, refused.stdout) == (REFUSED, "")
    assert run("due", "--nonsense", database=file).returncode == USAGE


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    """The small plant, planned and served."""
    home = tmp_path_factory.mktemp("served")
    file = home / "plant.sqlite"
    for command in (["import", str(write_small_plant(home / "small"))], ["plan"]):
        ended = run(*command, database=file)
        assert ended.returncode == DONE, ended.stderr
    process = ServerProcess(file, "--no-clock")
    process.start()
    yield process
    process.stop()


@pytest.fixture
def jobs(elementdue: Command, server: ServerProcess, monkeypatch: pytest.MonkeyPatch) -> Command:
    """`elementdue jobs … --server` with the administrator's key in a file."""
    monkeypatch.setenv("ELEMENTDUE_KEY_FILE", str(server.database.parent / "administrator.key"))
    return lambda *arguments: elementdue("jobs", *arguments, "--server", server.url)


def draft_of(jobs: Command, system: str) -> tuple[int, int, str]:
    """A draft's number with its first task and position."""
    orders = jobs("list", "--system", system, "--state", "draft", "--json").told["items"]
    task = orders[0]["tasks"][0]
    return orders[0]["id"], task["id"], task["position"]


def test_a_job_goes_from_draft_to_done_against_a_server(
    jobs: Command, server: ServerProcess, elementdue: Command
) -> None:
    order, task, position = draft_of(jobs, "LINE1")
    card = jobs("show", order)
    assert (card.code, card.stderr) == (DONE, "")
    assert "Cautions" in card.stdout
    assert position in card.stdout
    for verb, state in (("issue", "issued"), ("start", "underway")):
        done = jobs(verb, order)
        assert (done.code, done.stdout) == (DONE, "")
        assert f"work order {order} is {state}" in done.stderr
        assert jobs("show", order, "--json").told["state"] == state
    told = ("--task", task, "--at", LAST_READING.replace(hour=12).isoformat(), "--hours", LAST_HOURS + 2)
    fitted = ("--element", ELEMENT, "--lot", LOT, "--dp-before", "2.1 bar, 51 degC", "--done-by", "shift B")
    closed = jobs("close", *told, *fitted, "--idempotency-key", "from the machine", "--json")
    assert (closed.code, closed.stderr) == (DONE, "")
    assert (closed.told["task"], closed.told["position"]) == (task, position)
    assert (closed.told["recorded_by"], closed.told["done_by"]) == ("administrator", "shift B")
    again = jobs("close", *told, *fitted, "--idempotency-key", "from the machine", "--json")
    assert again.told == closed.told
    refused = jobs("close", *told, *fitted)
    assert (refused.code, refused.stdout) == (REFUSED, "")
    assert f"closed by close-out {closed.told['id']}" in refused.stderr
    (kept,) = (one for one in jobs("show", order, "--json").told["tasks"] if one["id"] == task)
    assert kept["state"] == "done"
    with closing(Database(url_at(server.database))) as database, database.reading() as connection:
        moved = connection.execute(sa.text("SELECT part_number, lot, quantity FROM stock_movements")).all()
    assert [tuple(row) for row in moved] == [(ELEMENT, LOT, -1)]


def test_what_a_server_refuses_ends_with_1_and_says_why(jobs: Command) -> None:
    order, _, position = draft_of(jobs, "LINE2")
    too_early = jobs("start", order)
    assert (too_early.code, too_early.stdout) == (REFUSED, "")
    assert "is draft" in too_early.stderr
    assert jobs("show", 999_999).code == REFUSED
    backwards = jobs("close", "--position", position, "--hours", 3, "--at", LAST_READING.replace(hour=9).isoformat())
    assert backwards.code == REFUSED
    assert "3 h is below the earlier 800 h" in backwards.stderr


def test_held_work_is_released_and_withdrawn_work_is_no_longer_listed(jobs: Command) -> None:
    order, _, _ = draft_of(jobs, "LINE2")
    jobs("issue", order)
    assert "is held" in jobs("hold", order, "--why", "no crane").stderr
    assert jobs("show", order, "--json").told["note"] == "no crane"
    assert "is issued" in jobs("release", order).stderr
    assert "is withdrawn" in jobs("withdraw", order, "--why", "system laid up").stderr
    assert order not in {one["id"] for one in jobs("list", "--json").told["items"]}


def test_without_a_key_with_a_wrong_one_and_without_a_server_a_job_is_refused_in_words(
    elementdue: Command, server: ServerProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_key = elementdue("jobs", "list", "--server", server.url)
    assert (no_key.code, no_key.stdout) == (REFUSED, "")
    assert "ELEMENTDUE_KEY" in no_key.stderr
    monkeypatch.setenv("ELEMENTDUE_KEY", "edk_wrong")
    wrong = elementdue("jobs", "list", "--server", server.url)
    assert (wrong.code, wrong.stdout) == (REFUSED, "")
    assert "unknown, expired or revoked" in wrong.stderr
    assert "edk_wrong" not in wrong.stderr
    nobody = elementdue("jobs", "list", "--server", "http://127.0.0.1:9")
    assert nobody.code == REFUSED
    assert "did not answer" in nobody.stderr


def test_a_job_is_closed_beside_the_database_as_on_a_server(elementdue: Command, folder: Path, file: Path) -> None:
    elementdue("import", folder)
    elementdue("plan")
    at = LAST_READING.replace(hour=10).isoformat()
    closed = elementdue("jobs", "close", "--position", "LINE1-R1", "--at", at, "--hours", LAST_HOURS + 1, "--json")
    assert closed.code == DONE
    assert closed.told["recorded_by"].startswith("command line of ")
    assert (count(file, "close_outs"), count(file, "kept_answers")) == (1, 1)
    later = elementdue("jobs", "readings", closed.told["id"], "--dp-after", "0.4 bar, 180 L/min, 50 degC")
    assert later.code == DONE
    assert count(file, "dp_readings") == 1
    picture = file.with_name("ring 1.jpg")
    picture.write_bytes(jpeg_of_a_camera())
    attached = elementdue("jobs", "attach", closed.told["id"], picture, "--shows", "pleats", "--json")
    assert attached.code == DONE
    assert [(each["name"], each["shows"]) for each in attached.told["items"]] == [("ring 1.jpg", "pleats")]


def test_pictures_and_papers_are_attached_on_a_server_and_a_second_time_change_nothing(
    jobs: Command, server: ServerProcess, tmp_path: Path
) -> None:
    at = ("--at", LAST_READING.replace(hour=13).isoformat(), "--hours", LAST_HOURS + 3)
    job = jobs("close", "--position", "LINE1-R3", "--unchanged", *at, "--json").told["id"]
    for name, held in (("ring 1.jpg", jpeg_of_a_camera()), ("report.pdf", pdf()), ("a.gif", b"GIF89a")):
        (tmp_path / name).write_bytes(held)
    picture, paper, film = (tmp_path / name for name in ("ring 1.jpg", "report.pdf", "a.gif"))
    ended = jobs("attach", job, picture, paper, "--shows", "pleats")
    assert ended.code == DONE
    first, second = ended.stdout.splitlines()
    assert "  ring 1.jpg, " in first
    assert first.endswith(" bytes, without where it was taken: pleats")
    assert second.endswith(f"  report.pdf, {len(pdf()):,} bytes, as sent: pleats")
    refused = jobs("attach", job, paper, film)
    assert (refused.code, refused.stdout) == (REFUSED, "")
    assert refused.stderr.splitlines() == [
        f"report.pdf is attached to close-out {job}",
        "a.gif: it is a GIF picture; expected a JPEG or PNG picture or a PDF",
    ]
    assert count(server.database, "evidence_files") == 2
    assert jobs("attach", job, tmp_path / "nothing.jpg").code == USAGE
    assert "files attached: 2" in jobs("readings", job, "--dp-after", "0.3 bar").stdout
