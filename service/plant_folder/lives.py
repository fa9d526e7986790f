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

    row: FolderRow
    says: str


def overlaps(installations: Iterable[FolderRow]) -> Iterator[Overlap]:
    """Each life that is still going on when the next element of its position is fitted."""
    by_position: dict[object, list[tuple[datetime, FolderRow]]] = defaultdict(list)
    for row in installations:
        fitted = row.values.get("fitted_at")
        if "position" in row.values and isinstance(fitted, datetime):
            by_position[row.values["position"]].append((fitted, row))
    for lives in by_position.values():
        lives.sort(key=lambda life: life[0])
        for (_, life), (next_fitted, following) in pairwise(lives):
            says = _overlap(life, next_fitted, following)
            if says:
                yield Overlap(life, says)


def _overlap(life: FolderRow, next_fitted: datetime, following: FolderRow) -> str | None:
    where = f"'{life.values['position']}'"
    removed = life.values.get("removed_at")
    if not isinstance(removed, datetime):
        return (
            f"{where} still holds this element (no removed_at), yet row {following.line} fits another;"
            " give this row its removed_at"
        )
    removed_is_date = life.values.get("removed_at_is_date") is True
    next_is_date = following.values.get("fitted_at_is_date") is True
    if begins_before_it_ends(removed, removed_is_date, next_fitted, next_is_date):
        return None
    return f"this element leaves {where} after row {following.line} has fitted the next one"
