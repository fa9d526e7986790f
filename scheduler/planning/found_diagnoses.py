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


@dataclass(frozen=True, slots=True)
class _Rule:
    code: str
    words: frozenset[Found]
    severity: Severity
    asks_for: TaskKind


_RULES = (
    _Rule("metal-found", METALS, Severity.NOW, TaskKind.INSPECT),
    _Rule("element-collapsed", frozenset({Found.COLLAPSED}), Severity.NOW, TaskKind.INSPECT),
    _Rule("wrong-part-found", frozenset({Found.WRONG_PART}), Severity.NOW, TaskKind.INSPECT),
    _Rule("bypass-had-opened", frozenset({Found.BYPASSED}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("water-found", frozenset({Found.WATER}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("varnish-found", frozenset({Found.VARNISH}), Severity.SOON, TaskKind.TAKE_SAMPLE),
    _Rule("seal-debris-found", frozenset({Found.SEAL_DEBRIS}), Severity.SOON, TaskKind.INSPECT),
    _Rule("fibres-found", frozenset({Found.FIBRES}), Severity.SOON, TaskKind.INSPECT),
)


def found_diagnoses(columns: PlantColumns) -> list[Diagnosis]:
    """Of the newest finding at each place, in service or of the whole system."""
    in_service, ready = columns.in_service(), columns.systems_ready()
    found: list[Diagnosis] = []
    for place, row in _newest(columns).items():
        system, position = place
        if (in_service[position] if position >= 0 else ready[system]) and (
            columns.as_of_day - columns.findings.day[row] <= STANDS_FOR_D
        ):
            found += _of_finding(columns, row)
            found += _spent_breather(columns, row) if position >= 0 else ()
    return found


SPENT = frozenset({Found.DUST, Found.DESICCANT_TURNED, Found.OIL})
"""What a breather shows that has to be changed. Desiccant is spent when its colour has fully turned (published
maker's page); dust and oil in it: common practice, no source."""


def _spent_breather(columns: PlantColumns, row: int) -> Iterator[Diagnosis]:
    """Of a breather that was looked at and left in; the one that was found so at its change is out."""
    rows, position = columns.findings, int(columns.findings.position[row])
    kind = columns.types.kind[columns.positions.specified_type[position]]
    seen = SPENT & rows.found[row]
    if kind is ElementKind.BREATHER and seen and columns.fitted.fitted_day[position] < rows.day[row]:
        yield Diagnosis(
            system=int(rows.system[row]),
            position=position,
            code="breather-spent",
            severity=Severity.SOON,
            numbers={"found": sorted(seen), "at_day": float(rows.day[row])},
            asks_for=TaskKind.CHANGE_BREATHER,
            since_day=float(rows.day[row]),
        )


def _newest(columns: PlantColumns) -> dict[tuple[int, int], int]:
    rows = columns.findings
    return {(int(rows.system[row]), int(rows.position[row])): int(row) for row in np.argsort(rows.day, kind="stable")}


def _of_finding(columns: PlantColumns, row: int) -> Iterator[Diagnosis]:
    rows = columns.findings
    for rule in _RULES:
        seen = rule.words & rows.found[row]
        if seen:
            yield Diagnosis(
                system=int(rows.system[row]),
                position=int(rows.position[row]),
                code=rule.code,
                severity=rule.severity,
                numbers={"found": sorted(seen), "at_day": float(rows.day[row])},
                asks_for=rule.asks_for,
                since_day=float(rows.day[row]),
            )
