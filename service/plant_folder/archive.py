"""A zip from outside: inspected whole from its directory before a byte of it is unpacked.

Members never become files on disk; still a path that leads out of the archive, a link, an encrypted member or
a bomb is refused, because such an archive is not what a plant sends.
"""

import io
import re
import stat
import struct
import zipfile
import zlib
from pathlib import Path
from typing import IO, TYPE_CHECKING, BinaryIO

from service.plant_folder.limits import (
    HARMLESS_BYTES,
    MOST_BYTES,
    MOST_DIRECTORY_BYTES,
    MOST_EXPANSION,
    MOST_MEMBERS,
)
from service.plant_folder.refusals import FileRefused, Findings

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

_CHUNK_BYTES = 64 * 1024
_DRIVE = re.compile(r"[A-Za-z]:")
_METHODS = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_ENCRYPTED = 0x1  # APPNOTE 4.4.4, bit 0
_UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)


def inspect(archive: zipfile.ZipFile, shown_name: str, findings: Findings) -> list[tuple[str, zipfile.ZipInfo]]:
    """Every file member with its path, `/` between the parts; refuses what must not be unpacked."""
    members = archive.infolist()
    if len(members) > MOST_MEMBERS:
        says = f"holds {len(members)} members; at most {MOST_MEMBERS} are read: pack only the tables"
        findings.refuse(shown_name, None, None, None, says)
        return []
    total = sum(member.file_size for member in members)
    if total > MOST_BYTES:
        says = f"unpacks to {total} bytes, above the limit of {MOST_BYTES}: send the readings in several folders"
        findings.refuse(shown_name, None, None, None, says)
    for member in members:
        trouble = _trouble_with(member)
        if trouble:
            findings.refuse(member.orig_filename, None, None, None, trouble)
    return [(member.filename.replace("\\", "/"), member) for member in members if not member.is_dir()]


def _trouble_with(member: zipfile.ZipInfo) -> str | None:
    path = member.orig_filename.replace("\\", "/")
    kind = stat.S_IFMT(member.external_attr >> 16)
    packed, unpacked = member.compress_size, member.file_size
    troubles = {
        "its path leads out of the archive; pack the tables without folders above them": (
            path.startswith("/") or _DRIVE.match(path) or ".." in path.split("/") or "\0" in path
        ),
        "is a symbolic link; pack the file itself": kind == stat.S_IFLNK,
        "is neither a file nor a folder": kind not in {0, stat.S_IFREG, stat.S_IFDIR, stat.S_IFLNK},
        "is encrypted; pack the tables without a password": member.flag_bits & _ENCRYPTED,
        "is packed by a method that is not read; pack it as an ordinary zip (deflate)": (
            member.compress_type not in _METHODS
        ),
        f"unpacks from {packed} to {unpacked} bytes, more than {MOST_EXPANSION} times: that is no table": (
            unpacked > HARMLESS_BYTES and unpacked > MOST_EXPANSION * packed
        ),
    }
    return next((says for says, is_so in troubles.items() if is_so), None)


def open_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> BinaryIO:
    """An inspected member, to be read as a stream. Raises FileRefused, then or while it is read."""
    try:
        stream = archive.open(member)
    except _UNREADABLE as error:
        raise FileRefused("is damaged in the archive; pack the folder again") from error
    return io.BufferedReader(_Member(stream, member.file_size), _CHUNK_BYTES)


class _Member(io.RawIOBase):
    """Gives never more bytes than the archive's directory has announced."""

    def __init__(self, stream: IO[bytes], announced_bytes: int) -> None:
        self._stream = stream
        self._left = announced_bytes

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "WriteableBuffer") -> int:
        into = memoryview(buffer)
        try:
            chunk = self._stream.read(len(into))
        except _UNREADABLE as error:
            raise FileRefused("is damaged in the archive; pack the folder again") from error
        self._left -= len(chunk)
        if self._left < 0:
            raise FileRefused("is larger than the archive says; pack the folder again")
        into[: len(chunk)] = chunk
        return len(chunk)

    def close(self) -> None:
        self._stream.close()
        super().close()


def open_archive(path: Path) -> zipfile.ZipFile:
    """Raises FileRefused where `path` is no readable zip, or its directory alone would fill a memory."""
    try:
        if _directory_bytes(path) > MOST_DIRECTORY_BYTES:
            raise FileRefused(f"holds more than {MOST_MEMBERS} members; pack only the tables")
        return zipfile.ZipFile(path)
    except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError, struct.error, OSError) as error:
        if isinstance(error, FileRefused):
            raise
        raise FileRefused("is not a readable zip; pack the folder again") from error


_END, _END_64, _LOCATOR_64 = b"PK\x05\x06", b"PK\x06\x06", b"PK\x06\x07"  # APPNOTE 4.3.14 to 4.3.16
_END_BYTES, _END_64_BYTES, _LOCATOR_64_BYTES, _LONGEST_REMARK = 22, 56, 20, 65_535


def _directory_bytes(path: Path) -> int:
    """The size of the directory as the archive's end announces it, by which the zipfile module reads it."""
    with path.open("rb") as file:
        size = file.seek(0, io.SEEK_END)
        file.seek(max(size - _END_64_BYTES - _LOCATOR_64_BYTES - _END_BYTES - _LONGEST_REMARK, 0))
        tail = file.read()
    end = tail.rfind(_END)
    if end < 0:
        return 0
    announced: int = struct.unpack_from("<L", tail, end + 12)[0]
    record = end - _LOCATOR_64_BYTES - _END_64_BYTES
    if record >= 0 and tail.startswith(_LOCATOR_64, end - _LOCATOR_64_BYTES) and tail.startswith(_END_64, record):
        announced = max(struct.unpack_from("<Q", tail, record + 40)[0], announced if announced < 2**32 - 1 else 0)
    return announced
