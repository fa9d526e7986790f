"""What is carried: one file for each work order, whole or not there at all, and the order in which jobs are walked.

A file is written beside its place, brought to the disk, and moved into it; so is the folder's entry for it.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from api_schemas.packs import Pack

_JOBS = "jobs"
_DIGITS = re.compile(r"(\d+)")


def make_folder(folder: Path) -> Path:
    """The folder that is carried, which only its owner may enter. Raises OSError where it cannot be made."""
    if not (folder / _JOBS).is_dir():
        (folder / _JOBS).mkdir(mode=0o700, parents=True, exist_ok=True)
        for each in (folder, folder.parent):
            sync_folder(each)
    folder.chmod(0o700)
    return folder


def keep_pack(folder: Path, pack: Pack) -> Path:
    """Carry it; an older one of the same order is replaced in one step. It is on the disk when this returns."""
    path = _path(folder, pack.order.id)
    beside = path.with_suffix(f".{os.getpid()}.part")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(pack.model_dump_json())
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    sync_folder(path.parent)
    return path


def put_down(folder: Path, order: int) -> None:
    """Carry it no longer."""
    _path(folder, order).unlink(missing_ok=True)
    sync_folder(folder / _JOBS)


def carried_pack(folder: Path, order: int) -> Pack | None:
    """None where it is not carried. Raises ValueError for a file that cannot be read."""
    path = _path(folder, order)
    try:
        return Pack.model_validate_json(path.read_bytes(), extra="ignore")
    except FileNotFoundError:
        return None
    except ValidationError:
        raise ValueError(f"{path.name} cannot be read: fetch work order {order} again") from None


def carried(folder: Path) -> tuple[list[Pack], list[str]]:
    """All jobs in walking order, and what is wrong with files that cannot be read; the others do not suffer."""
    packs: list[Pack] = []
    damaged: list[str] = []
    for path in sorted((folder / _JOBS).glob("*.json")):
        try:
            pack = carried_pack(folder, int(path.stem))
        except ValueError as error:
            damaged.append(str(error))
        else:
            packs += [] if pack is None else [pack]
    return sorted(packs, key=walking_key), damaged


def walking_key(pack: Pack) -> tuple[Any, ...]:
    """By planned day, then as the systems lie on the round (unknown last), then by codes as people count."""
    place = pack.walking_order
    positions = [natural(task.position) for task in pack.order.tasks]
    return (
        pack.order.planned_for.date(),
        place is None,
        place or 0,
        natural(pack.order.system),
        min(positions, default=()),
        pack.order.id,
    )


def natural(code: str) -> tuple[tuple[str, int], ...]:
    """A key that sorts codes as people count.

    >>> sorted(["PRESS10", "PRESS9", "BALER1"], key=natural)
    ['BALER1', 'PRESS9', 'PRESS10']
    """
    parts = _DIGITS.split(code.casefold())
    return tuple((text, int(number or 0)) for text, number in zip(parts[::2], [*parts[1::2], ""], strict=True))


def sync_folder(folder: Path) -> None:
    """Bring to the disk which files the folder has."""
    with _opened(folder) as handle:
        os.fsync(handle)


@contextmanager
def _opened(folder: Path) -> Iterator[int]:
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield handle
    finally:
        os.close(handle)


def _path(folder: Path, order: int) -> Path:
    return folder / _JOBS / f"{order}.json"
