"""After a merge: no element may have been in a position while another one was, whoever recorded it.

The reader compares the rows of one file with each other (`lives`); here an imported row meets the stays that
were recorded before, so that a position holds one element (or one set) at a time, and at most one today.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder.cell_writing import in_zone
from service.plant_folder.folder import Folder, FolderRows
from service.plant_folder.known_now import known_now
from service.plant_folder.refusals import Findings, shown
from service.plant_folder.register import Register
from service.plant_folder.row_checks import begins_before_it_ends
from service.plant_folder.tables import installations

_FILE = "installations.csv"
_POSITIONS_AT_ONCE = 500


def check_stays(connection: sa.Connection, folder: Folder) -> None:
    """Raise FolderRefused where stays overlap in a position that `folder` tells of.

    To be called after the merge, in its transaction, so that a refusal undoes it.
    """
    overlaps = list(_overlaps(connection, folder))
    if overlaps:
        findings = Findings()
        wording = _Wording(Register(known_now(connection)))
        for earlier, following in overlaps:
            _refuse(earlier, following, wording, findings)
        findings.raise_if_refused()


@dataclass(frozen=True, slots=True)
class _Stay:
    """One element's stay as it holds now; `line` is its row in the folder, None where only the database has it."""

    position: str
    part_number: str
    fitted_at: datetime
    fitted_at_is_date: bool
    removed_at: datetime | None
    removed_at_is_date: bool
    line: int | None

    def ends_before(self, following: "_Stay") -> bool:
        return self.removed_at is not None and begins_before_it_ends(
            self.removed_at, self.removed_at_is_date, following.fitted_at, following.fitted_at_is_date
        )


_LineOf = Mapping[tuple[object, object], int]


def _overlaps(connection: sa.Connection, folder: Folder) -> Iterator[tuple[_Stay, _Stay]]:
    told = folder.tables.get("installations", FolderRows())
    line_of = {(row.values["position"], row.values["fitted_at"]): row.line for row in told}
    positions = sorted({str(position) for position, _ in line_of})
    for start in range(0, len(positions), _POSITIONS_AT_ONCE):
        stays = _stays(connection, positions[start : start + _POSITIONS_AT_ONCE], line_of)
        for earlier, following in pairwise(stays):
            if earlier.position == following.position and not earlier.ends_before(following):
                yield earlier, following


def _stays(connection: sa.Connection, positions: list[str], line_of: _LineOf) -> Iterator[_Stay]:
    query = (
        sa.select(installations)
        .where(installations.c.position.in_(positions), current_rows(installations))
        .order_by(installations.c.position, installations.c.fitted_at)
    )
    for row in connection.execute(query).mappings():
        yield _Stay(
            position=row["position"],
            part_number=row["part_number"],
            fitted_at=row["fitted_at"],
            fitted_at_is_date=row["fitted_at_is_date"],
            removed_at=row["removed_at"],
            removed_at_is_date=row["removed_at_is_date"] is True,
            line=line_of.get((row["position"], row["fitted_at"])),
        )


def _refuse(earlier: _Stay, following: _Stay, wording: "_Wording", findings: Findings) -> None:
    """Told at the row of the stay that should have ended, else at the row that follows it."""
    says = wording.says(earlier, following)
    if earlier.line is not None:
        findings.refuse(_FILE, earlier.line, "removed_at", wording.removed(earlier), says)
    else:
        findings.refuse(_FILE, following.line, "fitted_at", wording.fitted(following), says)


@dataclass(frozen=True, slots=True)
class _Wording:
    """Names stays with their times in the zone of their plant."""

    register: Register

    def says(self, earlier: _Stay, following: _Stay) -> str:
        where = f"'{shown(earlier.position)}'"
        if earlier.removed_at is None:
            holds = f"{where} still holds {self._named(earlier)}, which has no removed_at"
            return f"{holds}, yet {self._named(following)} follows it; {_mend(earlier, following)}"
        leaves = f"{self._named(earlier)} leaves {where} only at {self.removed(earlier)}"
        return f"{leaves}, after {self._named(following)} came in; correct the time that is wrong"

    def _named(self, stay: _Stay) -> str:
        told = "recorded earlier" if stay.line is None else f"row {stay.line}"
        return f"'{shown(stay.part_number)}' fitted at {self.fitted(stay)} ({told})"

    def fitted(self, stay: _Stay) -> str:
        return self._moment(stay.position, stay.fitted_at, is_date=stay.fitted_at_is_date)

    def removed(self, stay: _Stay) -> str:
        if stay.removed_at is None:
            return ""
        return self._moment(stay.position, stay.removed_at, is_date=stay.removed_at_is_date)

    def _moment(self, position: str, at: datetime, *, is_date: bool) -> str:
        local = in_zone(at, self.register.terms({"position": position}).zone)
        return local[:10] if is_date else local


def _mend(earlier: _Stay, following: _Stay) -> str:
    if earlier.line is not None:
        return "give this row its removed_at"
    one_stay = "; if both are one stay, give this row the recorded fitted_at" if following.line else ""
    return f"add a row with that fitted_at and its removed_at{one_stay}"
