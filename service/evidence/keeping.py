"""Attaching a file to a close-out once, and finding it again."""

import hashlib
from collections.abc import Callable
from datetime import datetime

import sqlalchemy as sa

from api_schemas.evidence import EvidenceFile
from api_schemas.problems import MemberProblem
from service.close_outs.recording import close_out_row
from service.database import Database
from service.evidence.cleaning import cleaned
from service.evidence.content import LARGEST_FILE_BYTES, MOST_FILES, Unfit
from service.evidence.names import safe_name
from service.evidence.tables import evidence_files
from service.problems import FileNotTaken, InTheWay, NotFound, TooLarge

_TOLD = [column for column in evidence_files.c if column.name != "content"]


Attach = Callable[[sa.Connection], tuple[EvidenceFile, bool]]


def file_to_attach(
    database: Database, close_out: int, content: bytes, *, name: str, shows: str | None, now: datetime, by: str
) -> Attach:
    """What attaches the file in the caller's transaction: the file as it is kept, and whether it is new.

    The same content again changes nothing, not even its name. A close-out that was taken back still takes files: that
    it never happened wants to be shown, too. Both raise NotFound, and InTheWay where the close-out has as many files
    as it may have; this one raises TooLarge, and FileNotTaken for what the file is.
    """
    name = safe_name(name)
    if len(content) > LARGEST_FILE_BYTES:
        raise TooLarge(f"{name} has {len(content):,} bytes; a file may have {LARGEST_FILE_BYTES:,}")
    sha256 = hashlib.sha256(content).hexdigest()
    with database.reading() as connection:
        known = _known(connection, close_out, sha256)
    if known is not None:
        return lambda _connection: (known, False)
    try:
        kind, kept = cleaned(content)  # before the transaction: nobody waits for a picture to be decoded
    except Unfit as unfit:
        raise FileNotTaken(f"{name}: {unfit}", [MemberProblem(member="file", value=name, says=str(unfit))]) from None
    values = {
        "close_out": close_out,
        "sent_sha256": sha256,
        "kind": kind,
        "name": name,
        "shows": shows or None,
        "recorded_by": by,
        "recorded_at": now,
        "kept_sha256": hashlib.sha256(kept).hexdigest(),
        "kept_bytes": len(kept),
        "content": kept,
    }

    def attach(connection: sa.Connection) -> tuple[EvidenceFile, bool]:
        known = _known(connection, close_out, sha256)  # another may have attached it meanwhile
        if known is not None:
            return known, False
        connection.execute(sa.insert(evidence_files).values(**values))
        attached = _known(connection, close_out, sha256)
        assert attached is not None  # noqa: S101 - it was inserted above
        return attached, True

    return attach


def files_of(connection: sa.Connection, close_out: int) -> list[EvidenceFile]:
    """Every file of the close-out, the first one first, also where it was taken back. Raises NotFound."""
    close_out_row(connection, close_out)
    query = sa.select(*_TOLD).where(evidence_files.c.close_out == close_out).order_by(evidence_files.c.id)
    return [_file(row) for row in connection.execute(query).mappings()]


def kept_file(connection: sa.Connection, id_: int) -> sa.RowMapping:
    """The row of a file, its content included. Raises NotFound."""
    query = sa.select(evidence_files).where(evidence_files.c.id == id_)
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no file {id_}")
    return row


def _known(connection: sa.Connection, close_out: int, sha256: str) -> EvidenceFile | None:
    """The file, where it is attached; else there is room for it. Raises NotFound and InTheWay."""
    files = files_of(connection, close_out)
    for file in files:
        if file.sha256 == sha256:
            return file
    if len(files) >= MOST_FILES:
        raise InTheWay(f"close-out {close_out} has {len(files)} files; it may have {MOST_FILES}")
    return None


def _file(row: sa.RowMapping) -> EvidenceFile:
    return EvidenceFile(
        id=row["id"],
        close_out=row["close_out"],
        name=row["name"],
        shows=row["shows"],
        kind=row["kind"],
        sha256=row["sent_sha256"],
        as_sent=row["sent_sha256"] == row["kept_sha256"],
        kept_bytes=row["kept_bytes"],
        recorded_at=row["recorded_at"],
        recorded_by=row["recorded_by"],
    )
