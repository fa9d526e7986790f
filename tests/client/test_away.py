"""A technician's day where there is no network, told on the command line."""

import json
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api_schemas.client.outbox import Fate
from service.cli import away, away_closing, away_network
from service.cli.main import app as whole_command_line
from tests.client.technician import Technician, cut
from tests.flow.small_folder import HOURS_NOW, RETURN, SIDE_A
from tests.service.evidence_files import jpeg
from tests.service.served import CHECKOUT

Away = Callable[..., Result]


@pytest.fixture
def on_phone(technician: Technician, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Away:
    """`elementdue away` with the technician's folder, network and clock, and with no database anywhere."""
    monkeypatch.setenv("ELEMENTDUE_AWAY", str(technician.folder))
    monkeypatch.setenv("ELEMENTDUE_SERVER", "http://127.0.0.1")
    monkeypatch.setenv("ELEMENTDUE_DATABASE", f"sqlite:///{tmp_path / 'nowhere' / 'plant.sqlite'}")
    monkeypatch.setattr(away_network, "client_to", lambda _server: technician.dial())
    for module in (away, away_closing, away_network):
        monkeypatch.setattr(module, "now_utc", lambda: technician.plant.now)

    def run(*words: str, expect: int = 0) -> Result:
        ended = CliRunner().invoke(away.app, words)
        assert ended.exit_code == expect, (ended.output, ended.exception)
        assert not (tmp_path / "nowhere").exists()
        return ended

    return run


@pytest.fixture
def job(technician: Technician) -> tuple[int, int]:
    """An issued order with its task at the return element."""
    plant = technician.plant
    order = plant.order_of(RETURN)["id"]
    plant.post(f"/v1/work-orders/{order}/issue")
    return order, plant.task_of(RETURN)["id"]


def words(ended: Result) -> str:
    return re.sub(r"\s+", " ", ended.output)


def test_it_is_part_of_the_command_line() -> None:
    told = CliRunner().invoke(whole_command_line, ["away", "--help"]).output
    assert all(name in told for name in ("fetch", "list", "check", "close", "attach", "sync", "settle"))


def test_a_day_without_signal(technician: Technician, on_phone: Away, job: tuple[int, int], tmp_path: Path) -> None:
    plant, (order, task) = technician.plant, job
    assert "1 jobs are carried from http://127.0.0.1" in words(on_phone("fetch"))
    technician.network.disturb = cut

    assert f"{order} issued" in words(on_phone("list"))
    assert "ISO-17" in words(on_phone("show", str(order)))
    on_phone("card", str(order), "--write", str(tmp_path / "card.html"))
    assert (tmp_path / "card.html").read_text() == plant.client.get(f"/v1/work-orders/{order}/card").text
    plant.later(hours=3)
    right = words(on_phone("check", "--task", str(task), "--part", "EL-10", "--lot", "L-1", "--fluid", "OIL-46"))
    assert right.startswith("right")
    assert "3 h old" in right
    assert on_phone("check", "--task", str(task), "--part", "EL-25", expect=1).output.startswith("wrong")
    assert "ask before you use it" in on_phone("check", "--task", str(task), "--label", "Nobody's 32").output

    assert "entry 1 is kept" in on_phone("start", str(order)).output
    closed = on_phone(
        *("close", "--task", str(task), "--lot", "L-1", "--hours", f"{HOURS_NOW + 1:g}"),
        *("--dp-before", "1.6 bar, 180 L/min, 50 degC", "--oil", "OIL-46:2 L", "--found", "silt"),
    )
    assert "entry 2 is kept" in closed.output
    told_at = plant.now
    (tmp_path / "inlet.jpg").write_bytes(jpeg())
    on_phone("attach", "2", str(tmp_path / "inlet.jpg"), "--shows", "bright flakes")
    (tmp_path / "inlet.jpg").unlink()
    assert "look at it again" in on_phone("check", "--task", str(task), "--volume", "1 L").output
    assert "start (waiting), close (waiting)" in words(on_phone("list"))
    assert "3 still wait, 0 to be settled" in words(on_phone("sync", expect=1))
    assert plant.rows("close_outs") == []

    technician.network.disturb = None
    plant.later(hours=5)
    synced = words(on_phone("sync"))
    assert "3 sent now, 0 still wait, 0 to be settled" in synced
    (row,) = plant.rows("close_outs")
    assert row["at"] == told_at  # when it was told, not when it was sent
    assert row["recorded_at"] == plant.now
    assert plant.rows("evidence_files")[0]["shows"] == "bright flakes"
    assert "The outbox is empty" in words(on_phone("outbox"))
    everything = json.loads(on_phone("outbox", "--all", "--json").stdout)["items"]
    assert [entry["fate"] for entry in everything] == ["sent"] * 3
    on_phone("fetch")
    assert "nothing" in words(on_phone("list")).lower()


def test_a_mismatch_is_shown_with_the_services_words_and_settled(
    technician: Technician, on_phone: Away, job: tuple[int, int]
) -> None:
    plant, (_, task) = technician.plant, job
    on_phone("fetch")
    doubted = on_phone("close", "--task", str(task), "--element", "EL-25", "--lot", "X-1", "--hours", "12")
    assert "EL-25 is neither the specified EL-10" in words(doubted)
    assert "away settle 1 --confirm WHY" in words(doubted)
    assert "entry 1 is REFUSED" in words(on_phone("sync", expect=1))
    said = words(on_phone("conflicts"))
    assert "away settle 1" in said
    assert "12" in said
    on_phone("settle", "1", "--hours", f"{HOURS_NOW:g}", expect=2)
    on_phone("settle", "1", "--change", "--hours", f"{HOURS_NOW:g}")
    on_phone("sync", expect=1)
    assert "EL-25 is neither the specified EL-10" in words(on_phone("conflicts"))
    assert "--confirm WHY" in on_phone("conflicts").output
    on_phone("settle", "2", "--confirm", "the only one that was there")
    assert "1 sent now" in words(on_phone("sync"))
    (row,) = plant.rows("close_outs")
    assert (row["told"]["hours"], row["told"]["element"]["part_number"]) == (HOURS_NOW, "EL-25")
    assert [entry.fate for entry in technician.outbox.entries()] == [Fate.REPLACED, Fate.REPLACED, Fate.SENT]
    assert "No conflicts" in on_phone("conflicts").output


def test_a_close_out_that_was_typed_wrongly_is_dropped_with_a_reason_and_stays_on_record(
    technician: Technician, on_phone: Away, job: tuple[int, int]
) -> None:
    on_phone("fetch")
    on_phone("close", "--position", SIDE_A)
    on_phone("settle", "1", "--drop", "x", expect=1)
    on_phone("settle", "1", "--drop", "it was side B")
    on_phone("sync")
    assert technician.plant.rows("close_outs") == []
    assert [line.said for line in technician.outbox.record(1)] == [None, "it was side B"]


def test_what_cannot_be_read_is_told_at_once_and_not_kept(
    technician: Technician, on_phone: Away, job: tuple[int, int]
) -> None:
    on_phone("fetch")
    for slip in (["--oil", "OIL-46:2 barrels"], ["--at", "2026-03-05T09:00"], ["--found", "gold"]):
        ended = on_phone("close", "--task", str(job[1]), *slip, expect=1)
        assert isinstance(ended.exception, ValueError)
    assert technician.outbox.entries() == []


def test_a_job_that_ended_elsewhere_is_put_down_unless_there_is_something_to_tell(
    technician: Technician, on_phone: Away, job: tuple[int, int]
) -> None:
    plant, (order, _) = technician.plant, job
    on_phone("fetch")
    on_phone("hold", str(order), "--why", "no crane")
    plant.post(f"/v1/work-orders/{order}/withdraw", {"note": "sold"}, If_Match="*")
    assert "it stays here" in words(on_phone("fetch"))
    on_phone("sync", expect=1)
    on_phone("settle", "1", "--drop", "it is withdrawn")
    assert f"work order {order} is withdrawn; it is carried no longer" in words(on_phone("fetch"))
    assert "is not carried" in str(on_phone("show", str(order), expect=1).exception)


def test_jobs_of_other_days_and_systems_are_left_there(on_phone: Away, job: tuple[int, int]) -> None:
    for chosen in (("--system", "CONV"), ("--days", "0"), ("--plant", "OTHER")):
        assert "0 jobs are carried" in words(on_phone("fetch", *chosen))


def test_a_clock_that_is_off_is_told_before_anything_is_sent(
    technician: Technician, on_phone: Away, job: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    on_phone("fetch")
    on_phone("start", str(job[0]))
    for module in (away, away_closing, away_network):
        monkeypatch.setattr(module, "now_utc", lambda: technician.plant.now - timedelta(minutes=12))
    said = words(on_phone("sync"))
    assert said.index("this clock is 12 minutes behind the server's") < said.index("entry 1 is sent")


def test_a_task_that_is_left_undone_is_told_with_its_reason(
    technician: Technician, on_phone: Away, job: tuple[int, int]
) -> None:
    order, task = job
    on_phone("fetch")
    on_phone("not-done", str(order), "--task", str(task), "--why", "valve will not shut")
    on_phone("sync")
    history: list[dict[str, Any]] = technician.plant.get(f"/v1/work-orders/{order}/history")["items"]
    assert [entry["note"] for entry in history if entry["step"] == "task_not_done"] == ["valve will not shut"]


def test_whoever_has_no_network_waits_for_no_arrays_no_web_framework_and_no_database() -> None:
    script = (
        "import sys; from service.cli.main import app; from typer.testing import CliRunner; "
        "told = CliRunner().invoke(app, ['away', 'list', '--help']); "
        "print(told.exit_code, sorted({'numpy', 'scipy', 'pint', 'fastapi', 'sqlalchemy'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", script], cwd=CHECKOUT, capture_output=True, text=True, check=True)
    assert ran.stdout == "0 []\n", ran.stdout + ran.stderr
