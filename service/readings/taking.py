"""Taking readings in: what is right is kept and each row's outcome told, in one transaction."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.readings import ReadingsTold, RowOutcome, RowTold
from service.clock.turn import moment_of_turn
from service.imports.importing import keep_outcome, next_id, outcome_of
from service.keys.keeping import Caller
from service.plant_folder.cycle_collection import rare_cycle_collection
from service.plant_folder.folder import FolderRow
from service.plant_folder.headers import columns_of
from service.plant_folder.known_now import known_now
from service.plant_folder.layout import TableLayout
from service.plant_folder.merging import merge_rows
from service.plant_folder.refusals import FileRefused, FolderRefused, RowFindings
from service.plant_folder.register import UNSETTLED, Register
from service.plant_folder.row_by_row import RowByRow
from service.plant_folder.told_rows import NOTES, member_of, problem_of, problems_of, wire_value
from service.problems import BadInput
from service.readings.bodies import Body, as_problem, opened

_TOLD_AT_MOST = 100


@dataclass(frozen=True, slots=True)
class Wish:
    """How a body is to be taken: `all_or_nothing`, and whether every row is told of or only those with news."""

    all_or_nothing: bool = False
    tell_all: bool = False


class _Outcomes:
    """What became of each row."""

    def __init__(self, table: TableLayout) -> None:
        self.became: dict[int, RowOutcome] = {}
        self._earlier: dict[int, dict[str, Any]] = {}
        self._columns = {column.field: column for column in columns_of(table).values()}

    def tell(self, row: FolderRow, earlier: Mapping[str, Any] | None, changed: Mapping[str, Any]) -> None:
        if earlier is None:
            self.became[row.line] = RowOutcome.NEW
        elif not changed:
            self.became[row.line] = RowOutcome.AS_BEFORE
        else:
            self.became[row.line] = RowOutcome.CORRECTED
            self._earlier[row.line] = dict(self._told_earlier(changed, earlier))

    def _told_earlier(self, changed: Iterable[str], earlier: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
        for field in changed:
            column = self._columns.get(field)
            if column is not None:
                yield column.name, wire_value(column, earlier[field], UNSETTLED)
            elif field == NOTES:
                yield NOTES, earlier[NOTES]

    def told(self, findings: RowFindings, *, tell_all: bool) -> list[RowTold]:
        """All rows, or those of which there is more to say than that they are taken, in their order."""
        with_news = {*self._earlier, *findings.refused_rows, *findings.remarked_rows}
        return [
            RowTold(
                row=number,
                outcome=self.became[number],
                earlier=self._earlier.get(number, {}),
                errors=[problem_of(refusal) for refusal in findings.refused_rows.get(number, [])],
                remarks=findings.remarked_rows.get(number, []),
            )
            for number in sorted(self.became if tell_all else with_news)
        ]


def take_readings(
    connection: sa.Connection, table: TableLayout, body: Body, wish: Wish, *, caller: Caller, now: datetime
) -> ReadingsTold:
    """Keep the rows that are right, in the caller's transaction, known from now on.

    Raises what `opened` raises, BadInput where no row can be read under the header or, with `all_or_nothing`, where
    any row is refused, TooLarge for too many rows; then the caller undoes it all.
    """
    now = moment_of_turn(connection, now)
    findings = RowFindings()
    outcomes = _Outcomes(table)
    register = Register(known_now(connection).of_plants(caller.plants), reads_files=False)
    id_ = next_id(connection)
    try:
        with rare_cycle_collection(), opened(body, table, findings) as told:
            reading = RowByRow(table, told.header, register, findings, now, told.separator)
            merged = merge_rows(
                *(connection, table, reading.blocks(told.blocks())),
                recorded_now=now,
                source=f"import {id_}",
                tell=outcomes.tell,
            )
    except FolderRefused as refused:
        raise _unreadable(refused, is_json=body.media_type != "text/csv") from None
    except FileRefused as refused:
        raise as_problem(refused) from None
    outcomes.became |= dict.fromkeys(reading.repeated, RowOutcome.AS_BEFORE)
    outcomes.became |= dict.fromkeys(findings.refused_rows, RowOutcome.REFUSED)
    rows = outcomes.told(findings, tell_all=wish.tell_all)
    if wish.all_or_nothing and findings.refused:
        raise _all_refused(rows)
    if merged.changes_anything:
        kept = outcome_of(id_, [], merged, now)
        keep_outcome(connection, id_, kept, name=f"POST /v1/{table.name.replace('_', '-')}", by=caller.name)
    counts = Counter(outcomes.became.values())
    return ReadingsTold(
        recorded_at=now,
        import_id=id_ if merged.changes_anything else None,
        counts={outcome: counts[outcome] for outcome in RowOutcome},
        outcomes=rows,
    )


def _unreadable(refused: FolderRefused, *, is_json: bool) -> BadInput:
    """What is wrong with the header, or with the units that made it."""
    problems = [
        each.model_copy(update={"member": f"units.{each.member}"}) if is_json else each
        for each in problems_of(refused)
    ]
    return BadInput("; ".join(f"{each.member}: {each.says}" for each in problems[:3]), problems)


def _all_refused(rows: list[RowTold]) -> BadInput:
    refused = [row for row in rows if row.errors]
    errors: list[MemberProblem] = [
        error.model_copy(update={"member": f"row {row.row}: {member_of(error.member)}"})
        for row in refused[:_TOLD_AT_MOST]
        for error in row.errors
    ]
    return BadInput(f"{len(refused)} rows are refused, so nothing was kept", errors, rows_refused=len(refused))
