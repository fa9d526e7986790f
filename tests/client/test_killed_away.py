"""The off-line command line and the server, both killed at points drawn by a fixed seed: nothing is lost or doubled.

SIGKILL, so that no handler runs. What a power cut would do to the file is in test_outbox.py.
"""

import os
import random
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api_schemas.client.outbox import Fate, Outbox
from scheduler.vocabulary import Scope
from service.keys.keeping import make_key
from tests.flow.running_plant import make_empty, running
from tests.flow.small_folder import RETURN, SIDE_A, SIDE_B, small_plant
from tests.how_often import kills
from tests.service.evidence_files import jpeg
from tests.service.served import CHECKOUT, COMMAND, ServerProcess

pytestmark = pytest.mark.one_database_is_enough

KILLED = kills(2)
"""Commands of each kind that are killed; from the third on the server, too."""


@dataclass
class Phone:
    """The command line with a folder, a key and a server that comes and goes."""

    folder: Path
    key: str
    server: ServerProcess

    def begin(self, *words: str) -> subprocess.Popen[str]:
        surroundings = {name: value for name, value in os.environ.items() if not name.startswith("ELEMENTDUE_")}
        surroundings |= {"ELEMENTDUE_AWAY": str(self.folder), "ELEMENTDUE_KEY": self.key}
        surroundings |= {"ELEMENTDUE_SERVER": self.server.url, "PYTHONUNBUFFERED": "1"}
        out = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
        return subprocess.Popen([*COMMAND, "away", *words], cwd=CHECKOUT, env=surroundings, **out)

    def run(self, *words: str, expect: int = 0) -> str:
        process = self.begin(*words)
        said, _ = process.communicate(timeout=60)
        assert process.returncode == expect, said
        return said

    def killed(self, after_s: float, *words: str) -> str:
        """What it said before it was killed; it may have ended."""
        process = self.begin(*words)
        time.sleep(after_s)
        process.kill()
        return process.communicate(timeout=60)[0]


@pytest.fixture
def phone(tmp_path: Path) -> Iterator[Phone]:
    """At the small plant as it stands today, with the return element's order issued."""
    now = datetime.now(UTC)
    path = make_empty(tmp_path / "plant.sqlite")
    with running(path, now) as service:
        service.take_in(small_plant(now))
        service.run_pass()
        service.post(f"/v1/work-orders/{service.order_of(RETURN)['id']}/issue")
        with service.database.writing() as connection:
            key = make_key(connection, "technician", [Scope.READ, Scope.WORK], now=now)
    one = Phone(tmp_path / "phone", key, ServerProcess(path, "--no-clock"))
    one.server.start()
    try:
        yield one
    finally:
        one.server.kill()


def test_a_day_with_kills_and_a_server_that_goes_and_comes(phone: Phone, tmp_path: Path) -> None:
    draw = random.Random(20261128)  # noqa: S311
    phone.run("fetch")
    phone.server.kill()
    began = time.monotonic()
    assert "issued" in phone.run("list")
    takes_s = time.monotonic() - began

    # told with no signal, some of it killed in the middle
    acknowledged = []
    start = datetime.now(UTC) - timedelta(hours=2)
    for number in range(KILLED + 1):
        position = (SIDE_A, SIDE_B)[number % 2]
        at = (start + timedelta(minutes=number)).isoformat()
        words = ("close", "--position", position, "--at", at, "--lot", "L-2", "--note", f"change {number}")
        after_s = draw.uniform(0.6, 1.3) * takes_s
        said = phone.run(*words) if number >= KILLED else phone.killed(after_s, *words)
        acknowledged += [f"change {number}"] if "is kept" in said else []
    (tmp_path / "inlet.jpg").write_bytes(jpeg())
    with Outbox(phone.folder / "outbox.sqlite") as outbox:
        kept = {str(entry.told.body["note"]): entry.id for entry in outbox.entries() if entry.told.body}
    assert set(acknowledged) <= set(kept)
    phone.run("attach", str(kept[f"change {KILLED}"]), str(tmp_path / "inlet.jpg"))
    assert "still wait" in phone.run("sync", expect=1)

    # the server comes back; phone and server are killed while the one sends to the other
    phone.server.start()
    for number in range(KILLED):
        process = phone.begin("sync")
        time.sleep(draw.uniform(0.8, 1.6) * takes_s)
        is_servers = number % 3 == 2
        (phone.server if is_servers else process).kill()
        process.communicate(timeout=60)
        if is_servers:
            phone.server.start()
    phone.run("sync")
    with Outbox(phone.folder / "outbox.sqlite") as outbox:
        assert {entry.fate for entry in outbox.entries()} == {Fate.SENT}
        answered = sorted(entry.number or 0 for entry in outbox.entries() if entry.told.body)

    with running(phone.server.database, datetime.now(UTC)) as service:
        closed = service.rows("close_outs")
        assert Counter(row["told"]["note"] for row in closed) == Counter(dict.fromkeys(kept, 1))
        assert sorted(row["id"] for row in closed) == answered
        assert len(service.rows("evidence_files")) == 1
        booked = service.rows("stock_movements", part_number="EL-10")
        short = service.rows("stock_discrepancies", part_number="EL-10")
        assert -sum(row["quantity"] for row in booked) + sum(row["missing"] for row in short) == len(kept)
