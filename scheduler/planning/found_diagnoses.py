"""What jobs found that somebody has to look into: metal, water, varnish, a collapsed element.

A finding stands until a later job at the same place no longer finds it, and at most a season: what was found in the
oil half a year ago says little of today. Which work it asks for is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import ElementKind, Found, Severity, TaskKind

STANDS_FOR_D = 90.0
"""A finding is spoken of for so long (ours)."""

METALS = frozenset({Found.METAL, Found.METAL_STEEL, Found.METAL_BRONZE, Found.METAL_ALUMINIUM})


SPENT = frozenset({Found.DUST, Found.DESICCANT_TURNED, Found.OIL})
"""What a breather shows that has to be changed. Desiccant is spent when its colour has fully turned (published
maker's page); dust and oil in it: common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Rule:
    """`only_left_in`: it speaks of a breather that was seen and left in; one found so at its change is out."""

    code: str
    words: frozenset[Found]
    severity: Severity
    asks_for: TaskKind
    only_left_in: bool = False


_RULES = (
    _Rule("metal-found", METALS, Severity.NOW, TaskKind.INSPECT),
    _Rule("element-collapsed", frozenset({Found.COLLAPSED}), Severity.NOW, TaskKind.INSPECT),
    _Rule("wrong-part-found", frozenset({Found.WRONG_PART}), Severity.NOW, TaskKind.INSPECT),
    _Rule("bypass-had-opened", frozenset({Found.BYPASSED}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("water-found", frozenset({Found.WATER}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("varnish-found", frozenset({Found.VARNISH}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("seal-debris-found", frozenset({Found.SEAL_DEBRIS}), Severity.SOON, TaskKind.INSPECT),
    _Rule("fibres-found", frozenset({Found.FIBRES}), Severity.SOON, TaskKind.INSPECT),
    _Rule("breather-spent", SPENT, Severity.SOON, TaskKind.CHANGE_BREATHER, only_left_in=True),
)


def found_diagnoses(columns: PlantColumns) -> list[Diagnosis]:
    """Of the newest finding at each place, in service or of the whole system."""
    in_service, ready = columns.in_service(), columns.systems_ready()
    found: list[Diagnosis] = []
    for (system, position), row in _newest(columns).items():
        stands = in_service[position] if position >= 0 else ready[system]
        if stands and columns.as_of_day - columns.findings.day[row] <= STANDS_FOR_D:
            found += _of_finding(columns, row)
    return found


def _newest(columns: PlantColumns) -> dict[tuple[int, int], int]:
    rows = columns.findings
    return {(int(rows.system[row]), int(rows.position[row])): int(row) for row in np.argsort(rows.day, kind="stable")}


def _of_finding(columns: PlantColumns, row: int) -> Iterator[Diagnosis]:
    rows = columns.findings
    for rule in _RULES:
        seen = rule.words & rows.found[row]
        if seen and (not rule.only_left_in or _is_breather_left_in(columns, row)):
            yield Diagnosis(
                system=int(rows.system[row]),
                position=int(rows.position[row]),
                code=rule.code,
                severity=rule.severity,
                numbers={"found": sorted(seen), "at_day": float(rows.day[row])},
                asks_for=rule.asks_for,
                since_day=float(rows.day[row]),
            )


def _is_breather_left_in(columns: PlantColumns, row: int) -> bool:
    position = int(columns.findings.position[row])
    if position < 0:
        return False
    kind = columns.types.kind[columns.positions.specified_type[position]]
    return kind is ElementKind.BREATHER and bool(columns.fitted.fitted_day[position] < columns.findings.day[row])
