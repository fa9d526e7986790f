"""What was told while there was no network, kept until the service has it and after that for the record.

An SQLite file with a rollback journal and `synchronous=EXTRA`: when a method returns, what it wrote is on the disk,
and a write that was torn is rolled back by the next one who opens it (sqlite.org/pragma.html#pragma_synchronous).
No row is ever deleted, and no body changed: what is told anew is a new entry in the old one's place.
"""

import dataclasses
import json
import sqlite3
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, Self

from api_schemas.client.pack import sync_folder

_LAYOUT = 1
_WAITS_S = 30.0
_TABLES = """
CREATE TABLE entries (
    id INTEGER PRIMARY KEY AUTOINCREMENT, place INTEGER, job TEXT NOT NULL, system TEXT, deed TEXT NOT NULL,
    target INTEGER, body TEXT, follows INTEGER REFERENCES entries (id), file_name TEXT, content BLOB,
    idempotency_key TEXT NOT NULL UNIQUE, written_at TEXT NOT NULL, fate TEXT NOT NULL, tries INTEGER NOT NULL,
    sent_as TEXT, sent_to TEXT, answer TEXT, problem TEXT, replaces INTEGER REFERENCES entries (id)
);
CREATE TABLE record (
    entry INTEGER NOT NULL REFERENCES entries (id), at TEXT NOT NULL, what TEXT NOT NULL, said TEXT
);
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


_READ = (
    "id, job, system, deed, target, body, follows, file_name, idempotency_key, written_at, fate, tries, sent_as, "
    "sent_to, answer, problem, replaces"
)
"""All but the content of files, which is large and seldom needed."""


class Deed(StrEnum):
    """What was done."""

    START = "start"
    HOLD = "hold"
    NOT_DONE = "not-done"
    CLOSE = "close"
    ATTACH = "attach"


class Fate(StrEnum):
    """What became of an entry. Only what is refused or waits is still to be done."""

    WAITING = "waiting"
    SENT = "sent"
    REFUSED = "refused"
    REPLACED = "replaced"
    DROPPED = "dropped"


class CannotBeSettled(ValueError):
    """The entry is not one that a person may settle so; the text says why."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is to be sent. Entries of one `job` are sent in order; `target` is its work order, where it has one.

    An attachment `follows` the entry of the close-out whose number it needs.
    """

    job: str
    deed: Deed
    system: str | None = None
    target: int | None = None
    body: Mapping[str, Any] | None = None
    follows: int | None = None
    file_name: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """What is kept of it. `sent_as` and `sent_to` are the key's name and the server of the last try."""

    id: int
    told: Told
    idempotency_key: str
    written_at: datetime
    fate: Fate
    tries: int
    sent_as: str | None
    sent_to: str | None
    answer: dict[str, Any] | None
    problem: dict[str, Any] | None
    replaces: int | None

    @property
    def number(self) -> int | None:
        """What the service numbered the answer, such as the close-out; None as long as there is none."""
        found = None if self.answer is None else self.answer.get("id")
        return found if isinstance(found, int) else None


@dataclass(frozen=True, slots=True)
class Recorded:
    """One line of what became of an entry."""

    at: datetime
    what: str
    said: str | None


class Outbox:
    """The file, open. Use it as a context manager."""

    def __init__(self, path: Path) -> None:
        path.touch(mode=0o600)
        self._kept = sqlite3.connect(path, timeout=_WAITS_S, isolation_level=None)
        self._kept.row_factory = sqlite3.Row
        for pragma in ("journal_mode = DELETE", "synchronous = EXTRA", "foreign_keys = ON"):
            self._kept.execute(f"PRAGMA {pragma}")
        with self._writing():
            version = self._kept.execute("PRAGMA user_version").fetchone()[0]
            if version == 0:
                for statement in _TABLES.split(";"):
                    self._kept.execute(statement)
                self._kept.execute(f"PRAGMA user_version = {_LAYOUT}")
        if version > _LAYOUT:
            raise ValueError(f"{path.name} was written by a newer version; nothing of it was touched")
        if version == 0:
            sync_folder(path.parent)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self._kept.close()

    # what is kept

    def entries(self, *fates: Fate) -> list[Entry]:
        """In the order in which they are sent; by default all of them."""
        chosen = [fate.value for fate in fates or tuple(Fate)]
        marks = ", ".join("?" for _ in chosen)
        query = f"SELECT {_READ} FROM entries WHERE fate IN ({marks}) ORDER BY place, id"  # noqa: S608 - marks alone
        rows = self._kept.execute(query, chosen)
        return [_entry(row) for row in rows.fetchall()]

    def entry(self, id_: int) -> Entry:
        """Raises ValueError where there is none."""
        query = f"SELECT {_READ} FROM entries WHERE id = ?"  # noqa: S608 - names of ours alone
        row = self._kept.execute(query, (id_,)).fetchone()
        if row is None:
            raise ValueError(f"the outbox has no entry {id_}")
        return _entry(row)

    def content(self, id_: int) -> bytes:
        """The file of an attachment; empty where there is none."""
        row = self._kept.execute("SELECT content FROM entries WHERE id = ?", (id_,)).fetchone()
        return b"" if row is None or row["content"] is None else bytes(row["content"])

    def record(self, id_: int) -> list[Recorded]:
        """What became of an entry, the first thing first."""
        rows = self._kept.execute("SELECT at, what, said FROM record WHERE entry = ? ORDER BY rowid", (id_,))
        return [Recorded(datetime.fromisoformat(row["at"]), row["what"], row["said"]) for row in rows]

    @property
    def server(self) -> str | None:
        """From where the jobs were fetched last."""
        row = self._kept.execute("SELECT value FROM settings WHERE name = 'server'").fetchone()
        return None if row is None else str(row["value"])

    def remember_server(self, address: str) -> None:
        """For the next time."""
        with self._writing():
            self._kept.execute("INSERT OR REPLACE INTO settings VALUES ('server', ?)", (address,))

    # what is told

    def add(self, told: Told, at: datetime, content: bytes | None = None) -> Entry:
        """Keep it, with its Idempotency-Key and the content of its file; it is on the disk when this returns."""
        with self._writing():
            id_ = self._insert(told, at)
            self._kept.execute("UPDATE entries SET place = id, content = ? WHERE id = ?", (content, id_))
            self._note(id_, at, "told")
        return self.entry(id_)

    # what becomes of it

    def begin_try(self, id_: int, at: datetime, *, sent_as: str, sent_to: str) -> bool:
        """Before it is sent: from now on it may have been done. False where it does not wait any more."""
        with self._writing():
            changed = self._kept.execute(
                "UPDATE entries SET tries = tries + 1, sent_as = ?, sent_to = ? WHERE id = ? AND fate = 'waiting'",
                (sent_as, sent_to, id_),
            )
            if changed.rowcount:
                self._note(id_, at, "sent", f"as {sent_as} to {sent_to}")
            return bool(changed.rowcount)

    def sent(self, id_: int, answer: Mapping[str, Any], at: datetime) -> None:
        """The service has it."""
        self._end(id_, Fate.SENT, "answered", at, answer=json.dumps(answer))

    def refused(self, id_: int, problem: Mapping[str, Any], at: datetime) -> None:
        """It was not done, and a person has to say what now."""
        self._end(id_, Fate.REFUSED, "refused", at, said=str(problem.get("detail")), problem=json.dumps(problem))

    # how a person settles it

    def send_again(self, id_: int, at: datetime) -> Entry:
        """As it was told, with the same key: what stood in the way is gone. Raises CannotBeSettled."""
        with self._writing():
            if self.entry(id_).fate is not Fate.REFUSED:
                raise CannotBeSettled(f"entry {id_} is {self.entry(id_).fate}; only what was refused is sent again")
            # told to be sent by whoever syncs next: a person has looked whether it was done
            self._kept.execute("UPDATE entries SET fate = 'waiting', tries = 0 WHERE id = ?", (id_,))
            self._note(id_, at, "to be sent again")
        return self.entry(id_)

    def replace(self, id_: int, body: Mapping[str, Any], at: datetime) -> Entry:
        """Tell it otherwise: a new entry with a new key, in the old one's place. Raises CannotBeSettled."""
        with self._writing():
            old = self._open_entry(id_)
            new = self._insert(dataclasses.replace(old.told, body=body), at)
            self._kept.execute(
                "UPDATE entries SET replaces = old.id, place = old.place, content = old.content "
                "FROM (SELECT id, place, content FROM entries WHERE id = ?) AS old WHERE entries.id = ?",
                (id_, new),
            )
            self._kept.execute("UPDATE entries SET fate = 'replaced' WHERE id = ?", (id_,))
            self._kept.execute("UPDATE entries SET follows = ? WHERE follows = ?", (new, id_))
            self._note(id_, at, "replaced", f"by entry {new}")
            self._note(new, at, "told", f"instead of entry {id_}")
        return self.entry(new)

    def drop(self, id_: int, why: str, at: datetime) -> None:
        """It is not to be sent; the reason is kept with it. Raises CannotBeSettled, ValueError without a reason."""
        if len(why.strip()) < 3:
            raise ValueError(f"'{why}' is no reason that anybody would understand later")
        with self._writing():
            self._open_entry(id_)
            self._kept.execute("UPDATE entries SET fate = 'dropped' WHERE id = ?", (id_,))
            self._note(id_, at, "dropped", why)

    def _open_entry(self, id_: int) -> Entry:
        """One that was surely not done: refused, or never sent."""
        found = self.entry(id_)
        if found.fate not in (Fate.WAITING, Fate.REFUSED):
            raise CannotBeSettled(f"entry {id_} is {found.fate} already")
        if found.fate is Fate.WAITING and found.tries:
            raise CannotBeSettled(f"entry {id_} was sent and not answered, so it may have been done: sync first")
        return found

    def _insert(self, told: Told, at: datetime) -> int:
        values = {
            "job": told.job,
            "system": told.system,
            "deed": told.deed.value,
            "target": told.target,
            "body": None if told.body is None else json.dumps(told.body),
            "follows": told.follows,
            "file_name": told.file_name,
            "idempotency_key": str(uuid.uuid4()),
            "written_at": at.isoformat(),
            "fate": Fate.WAITING.value,
            "tries": 0,
        }
        names, marks = ", ".join(values), ", ".join("?" for _ in values)
        done = self._kept.execute(f"INSERT INTO entries ({names}) VALUES ({marks})", tuple(values.values()))  # noqa: S608
        return int(done.lastrowid or 0)

    def _end(self, id_: int, fate: Fate, what: str, at: datetime, *, said: str | None = None, **texts: str) -> None:
        """Only of one that waits: two who send at once come to the same end, and the first one keeps it."""
        with self._writing():
            columns = "".join(f", {name} = ?" for name in texts)
            changed = self._kept.execute(
                f"UPDATE entries SET fate = ?{columns} WHERE id = ? AND fate = 'waiting'",  # noqa: S608
                (fate.value, *texts.values(), id_),
            )
            if changed.rowcount:
                self._note(id_, at, what, said)

    def _note(self, id_: int, at: datetime, what: str, said: str | None = None) -> None:
        self._kept.execute("INSERT INTO record VALUES (?, ?, ?, ?)", (id_, at.isoformat(), what, said))

    @contextmanager
    def _writing(self) -> Iterator[None]:
        self._kept.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._kept.execute("ROLLBACK")
            raise
        self._kept.execute("COMMIT")


def _entry(row: sqlite3.Row) -> Entry:
    def parsed(name: str) -> Any:
        return None if row[name] is None else json.loads(row[name])

    return Entry(
        id=row["id"],
        told=Told(
            *(row["job"], Deed(row["deed"]), row["system"], row["target"], parsed("body"), row["follows"]),
            row["file_name"],
        ),
        idempotency_key=row["idempotency_key"],
        written_at=datetime.fromisoformat(row["written_at"]),
        fate=Fate(row["fate"]),
        tries=row["tries"],
        sent_as=row["sent_as"],
        sent_to=row["sent_to"],
        answer=parsed("answer"),
        problem=parsed("problem"),
        replaces=row["replaces"],
    )
