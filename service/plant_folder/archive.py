"""A zip from outside: inspected whole from its directory before a byte of it is unpacked.

Members never become files on disk; still a path that leads out of the archive, a link, an encrypted member or
a bomb is refused, because such an archive is not what a plant sends.
"""

import re
import stat
import zipfile
import zlib
from pathlib import Path

from service.plant_folder.refusals import FileRefused, Findings

MOST_MEMBERS = 1000
MOST_BYTES = 2 * 1024**3
MOST_EXPANSION = 200
"""Ours: deflate shrinks tables of readings 5 to 30 times; its own limit is 1032."""

_HARMLESS_BYTES = 16 * 1024**2  # a member this small cannot fill a memory, however well it is packed
_CHUNK_BYTES = 1024**2
_DRIVE = re.compile(r"[A-Za-z]:")
_METHODS = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_ENCRYPTED = 0x1  # APPNOTE 4.4.4, bit 0


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
            unpacked > _HARMLESS_BYTES and unpacked > MOST_EXPANSION * packed
        ),
    }
    return next((says for says, is_so in troubles.items() if is_so), None)


def read_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """The bytes of an inspected member, never more than its directory entry says. Raises FileRefused."""
    taken = bytearray()
    try:
        with archive.open(member) as stream:
            while chunk := stream.read(_CHUNK_BYTES):
                taken += chunk
                if len(taken) > member.file_size:
                    raise FileRefused("is larger than the archive says; pack the folder again")
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError) as error:
        raise FileRefused("is damaged in the archive; pack the folder again") from error
    return bytes(taken)


def open_archive(path: Path) -> zipfile.ZipFile:
    """Raises FileRefused where `path` is no readable zip."""
    try:
        return zipfile.ZipFile(path)
    except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError) as error:
        raise FileRefused("is not a readable zip; pack the folder again") from error
