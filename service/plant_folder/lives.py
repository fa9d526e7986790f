"""One position holds one element (or one set) at a time: the lives in a file must not overlap."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from service.plant_folder.folder import FolderRow
from service.plant_folder.row_checks import begins_before_it_ends


class Overlap(NamedTuple):
    """The row whose end is wrong or missing, and what is wrong with it."""

    line: int
    says: str


class _Life(NamedTuple):
    fitted: datetime
    fitted_is_date: bool
    removed: datetime | None
    removed_is_date: bool
    line: int


def overlaps(installations: Iterable[FolderRow]) -> Iterator[Overlap]:
    """Each life that is still going on when the next element of its position is fitted."""
    by_position: dict[str, list[_Life]] = defaultdict(list)
    for row in installations:
        position, fitted, removed = (row.values.get(name) for name in ("position", "fitted_at", "removed_at"))
        if isinstance(position, str) and isinstance(fitted, datetime):
            by_position[position].append(
                _Life(
                    fitted,
                    row.values.get("fitted_at_is_date") is True,
                    removed if isinstance(removed, datetime) else None,
                    row.values.get("removed_at_is_date") is True,
                    row.line,
                )
            )
    for position, lives in by_position.items():
        lives.sort(key=lambda life: life.fitted)
        for life, following in pairwise(lives):
            says = _overlap(position, life, following)
            if says:
                yield Overlap(life.line, says)


def _overlap(position: str, life: _Life, following: _Life) -> str | None:
    where = f"'{position}'"
    if life.removed is None:
        return (
            f"{where} still holds this element (no removed_at), yet row {following.line} fits another;"
            " give this row its removed_at"
        )
    if begins_before_it_ends(life.removed, life.removed_is_date, following.fitted, following.fitted_is_date):
        return None
    return f"this element leaves {where} after row {following.line} has fitted the next one"
