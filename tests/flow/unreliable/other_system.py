"""The plant's other system: follows the feed, takes orders over, has them done and tells of it, and pushes hours.

Everything that it knows and everything that it still has to say is in a file of its own: a line of the feed is taken
in together with the number to go on after, and a write is kept with its Idempotency-Key until it is answered. So it
can be killed anywhere. `python -m tests.flow.unreliable.other_system SERVER KEY FILE STOP SEED`; it ends when the
file STOP is there and it has nothing left to say or to hear.
"""

import json
import random
import sqlite3
import sys
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

from api_schemas.client import Integrator, NotReached, Patience, ProblemRefused
from api_schemas.close_outs import CloseOutIn
from tests.flow.unreliable import plant

_TABLES = """
CREATE TABLE IF NOT EXISTS goes_on_after (number INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS lines (number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS pictures (subject TEXT PRIMARY KEY, type TEXT NOT NULL, data TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS mine (work_order INTEGER PRIMARY KEY, ref TEXT NOT NULL UNIQUE, closing INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS acts (system TEXT PRIMARY KEY, number INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS outbox (
    id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, what TEXT NOT NULL, body TEXT NOT NULL, answer TEXT
);
"""
_PATIENCE = Patience(tries=2, first_wait_s=0.05, longest_wait_s=0.2, answer_s=5.0)


class OtherSystem:
    """One life of it, from a start to a kill."""

    def __init__(self, server: str, key: str, file: Path, seed: int) -> None:
        self._client = Integrator(server, key, patience=_PATIENCE)
        self._draw = random.Random(seed)  # noqa: S311
        self._kept = sqlite3.connect(file, isolation_level=None)
        self._kept.execute("PRAGMA journal_mode=WAL")
        self._kept.execute("PRAGMA synchronous=FULL")
        self._kept.executescript(_TABLES)

    def live(self, stop: Path) -> None:
        """Turn after turn."""
        while True:
            ending = stop.exists()
            try:
                heard = self._listen()
                if not ending:
                    self._read_a_meter()
                self._take_over()
                self._have_it_done()
                said = self._speak()
            except NotReached:
                continue
            if ending and not heard and not said:
                return

    def _listen(self) -> bool:
        """Whether there was anything new."""
        after = self._kept.execute("SELECT max(number) FROM goes_on_after").fetchone()[0] or 0
        page = self._client.feed(after, wait_s=1, limit=40)
        with self._transaction():
            for line in page.items:
                self._kept.execute("INSERT INTO lines VALUES (?, ?)", (line.number, line.id))
                self._kept.execute(
                    "INSERT OR REPLACE INTO pictures VALUES (?, ?, ?)",
                    (line.subject + line.type.partition(".")[0], line.type, json.dumps(line.data)),
                )
            self._kept.execute("DELETE FROM goes_on_after")
            self._kept.execute("INSERT INTO goes_on_after VALUES (?)", (page.next,))
        return bool(page.items)

    def _orders(self) -> list[dict[str, Any]]:
        rows = self._kept.execute("SELECT data FROM pictures WHERE type = 'work_order.changed'")
        return [json.loads(data) for (data,) in rows]

    def _take_over(self) -> None:
        mine = {order for (order,) in self._kept.execute("SELECT work_order FROM mine")}
        for order in self._orders():
            number = order["work_order"]
            if order["state"] == "issued" and order["acknowledged_at"] is None and number not in mine:
                with self._transaction():
                    ref = f"OS-{len(mine) + 1}-{number}"
                    self._kept.execute("INSERT INTO mine VALUES (?, ?, 0)", (number, ref))
                    self._say("acknowledge", {"order": number, "ref": ref})
                mine.add(number)

    def _have_it_done(self) -> None:
        open_ = dict(self._kept.execute("SELECT work_order, ref FROM mine WHERE NOT closing"))
        for order in self._orders():
            ref = open_.get(order["work_order"])
            if ref is None or order["external_ref"] != ref or self._draw.random() < 0.5:
                continue
            with self._transaction():
                self._kept.execute("UPDATE mine SET closing = 1 WHERE work_order = ?", (order["work_order"],))
                for task in order["tasks"]:
                    number = self._next_act(task["position"].partition("-")[0])
                    body = {"task": task["id"], "at": plant.moment(number), "hours": plant.hours(number)}
                    fits = {"element": {"part_number": plant.ELEMENT, "lot": plant.LOT, "store": plant.STORE}}
                    more = fits if task["kind"] == "change_element" else {}
                    self._say("close", body | more | {"external_ref": f"{ref}-{task['id']}"})

    def _read_a_meter(self) -> None:
        with self._transaction():
            system = self._draw.choice(plant.SYSTEMS)
            number = self._next_act(system)
            self._say("hours", {"system": system, "at": plant.moment(number), "hours": plant.hours(number)})

    def _next_act(self, system: str) -> int:
        self._kept.execute("INSERT OR IGNORE INTO acts VALUES (?, 0)", (system,))
        self._kept.execute("UPDATE acts SET number = number + 1 WHERE system = ?", (system,))
        number: int = self._kept.execute("SELECT number FROM acts WHERE system = ?", (system,)).fetchone()[0]
        return number

    def _say(self, what: str, body: dict[str, Any]) -> None:
        self._kept.execute(
            "INSERT INTO outbox (key, what, body) VALUES (?, ?, ?)", (str(uuid.uuid4()), what, json.dumps(body))
        )

    def _speak(self) -> bool:
        """Whether there was anything to say."""
        waiting = "SELECT id, key, what, body FROM outbox WHERE answer IS NULL ORDER BY id"
        found = self._kept.execute(waiting).fetchall()
        for id_, key, what, body in found:
            answer = self._ask(what, json.loads(body), key)
            self._kept.execute("UPDATE outbox SET answer = ? WHERE id = ?", (answer, id_))
        return bool(found)

    def _ask(self, what: str, body: dict[str, Any], key: str) -> str:
        """Raises NotReached: then it is asked again, in this life or in the next."""
        asked: dict[str, Callable[[], Any]] = {
            "acknowledge": lambda: self._client.acknowledge(body["order"], body["ref"], idempotency_key=key).version,
            "close": lambda: (
                self._client.close(CloseOutIn.model_validate_json(json.dumps(body)), idempotency_key=key).id
            ),
            "hours": lambda: self._client.tell_hours([body], idempotency_key=key).counts["new"],
        }
        try:
            return str(asked[what]())
        except ProblemRefused as refused:
            return f"refused: {refused.type} {refused}"

    def _transaction(self) -> "_Transaction":
        return _Transaction(self._kept)


class _Transaction:
    def __init__(self, kept: sqlite3.Connection) -> None:
        self._kept = kept

    def __enter__(self) -> None:
        self._kept.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._kept.execute("COMMIT" if kind is None else "ROLLBACK")


if __name__ == "__main__":
    server, key, file, stop, seed = sys.argv[1:]
    OtherSystem(server, key, Path(file), int(seed)).live(Path(stop))
