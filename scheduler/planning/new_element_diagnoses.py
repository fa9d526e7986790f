"""What the first readings after a change say of the element: too little across it, or too much.

The check sheet judges the one reading taken at the change; here it takes two that agree, against the sheet as the
position's own earlier new elements have set it right (`condition.log_clean_before`). A clean element is judged by a
factor, since what is not known of it (flow, oil, the sheet) acts on all of its ΔP, and by half a step of the gauge.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.engineering.new_element import LEAST_OF_NOMINAL, MOST_OF_NOMINAL
from scheduler.engineering.pressure_drop import SHIFT_IN_STEPS
from scheduler.engineering.reading_gate import COUNTED_GATES, Gate
from scheduler.engineering.viscosity_grade import MIDPOINT_40_MM2_S, TOLERANCE
from scheduler.planning.condition import Condition
from scheduler.planning.current_readings import CurrentReadings, current_readings, restated_log_sd, taken
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.vocabulary import Severity, TaskKind

FIRST_READINGS, AGREEING = 6, 2
"""Of a life so many at most are its first, of which the last two have to agree; so have the newest two (ours)."""

NEARLY = 0.1
"""Of the clean ΔP, by which one reading of two may fall short of the limit (ours)."""


ROUNDED_STEPS = 0.25
"""What rounding leaves of two readings' mean, in gauge steps: half of what it leaves of one, and room (ours)."""

SURE_SDS = 2.0
"""So far beyond what is not known of the clean ΔP and of the readings, and outside of the check sheet's range in any
case. By tests/measure/reading_rules.py."""

MISTAKEN_GRADES = 2
"""So many grades off is a drum taken for another; farther off nobody pours (ours)."""


@dataclass(frozen=True, slots=True)
class _Finding:
    """First readings are those within `first_share` of the usual life; where few are taken, two within
    `second_share` will do."""

    code: str
    severity: Severity
    is_little: bool
    first_share: float
    second_share: float


_FINDINGS = (
    # dirt can only make more of it: too little is too little far into a life
    _Finding("new-element-shows-too-little", Severity.NOW, is_little=True, first_share=0.25, second_share=0.50),
    # up to here ΔP has risen by less than the range of a new element is wide (ours)
    _Finding("new-element-shows-too-much", Severity.SOON, is_little=False, first_share=0.15, second_share=0.33),
)


@dataclass(frozen=True, slots=True)
class _Range:
    """Of a table of readings (P, K): restated element ΔP of a new one at the least, at the most and in the middle."""

    least_bar: Floats
    most_bar: Floats
    clean_bar: Floats


def new_element_diagnoses(columns: PlantColumns, duty: Duty, condition: Condition) -> list[Diagnosis]:
    """Of every position what stands now."""
    counted = current_readings(columns, condition, COUNTED_GATES | {Gate.BYPASS_OPEN})
    by_vacuum = columns.by_vacuum()
    share = taken(duty.reading_run_h, counted.from_start(FIRST_READINGS)) / np.exp(condition.life.log_median)[:, None]
    # a strainer's clean vacuum is its own first readings: it cannot be held against them
    share[by_vacuum] = np.nan
    found: list[Diagnosis] = []
    for finding in _FINDINGS:
        found += _of_one_kind(columns, condition, counted, share, finding)
    return found


def _of_one_kind(
    columns: PlantColumns, condition: Condition, counted: CurrentReadings, share: Floats, finding: _Finding
) -> Iterator[Diagnosis]:
    """Positions of which the last two of the first readings are outside the range, and the newest two still are."""
    is_first = share <= finding.first_share
    is_first[:, :AGREEING] |= share[:, :AGREEING] <= finding.second_share
    is_first = np.cumprod(is_first, axis=1, dtype=bool)
    count = is_first.sum(axis=1)
    able = np.flatnonzero(count >= AGREEING)
    first = counted.from_start(FIRST_READINGS)[able[:, None], count[able][:, None] - AGREEING + np.arange(AGREEING)]
    judged = np.concatenate([first, counted.from_end(AGREEING)[able][:, ::-1]], axis=1)
    expected = _range(columns, condition, able, judged)
    read_bar = taken(condition.element_dp_bar, judged)
    for at in np.flatnonzero(_is_outside(read_bar, expected, is_little=finding.is_little)).tolist():
        yield _told(columns, condition, int(able[at]), finding, judged[at], expected, at)


def _is_outside(read_bar: Floats, expected: _Range, *, is_little: bool) -> Flags:
    """Of first and newest readings (P, 4): each pair is outside in the middle, and each reading nearly so by itself.

    A pair of which one reading is grossly wrong is outside in the middle alone.
    """
    limit_bar = expected.least_bar if is_little else expected.most_bar
    beyond = np.where(is_little, limit_bar - read_bar, read_bar - limit_bar) / np.maximum(expected.clean_bar, 1e-6)
    pairs = beyond.reshape(len(beyond), 2, AGREEING).mean(axis=2)
    return np.asarray((pairs > 0.0).all(axis=1) & (beyond > -NEARLY).all(axis=1))


def _range(columns: PlantColumns, condition: Condition, able: Ints, judged: Ints) -> _Range:
    shift_bar = condition.log_shift_bar[able][:, None]
    log_sd = np.sqrt(
        condition.prior.clean_log_var[able][:, None] + taken(restated_log_sd(columns, condition), judged) ** 2
    )
    clean_bar = np.maximum(np.exp(condition.log_clean_before[able])[:, None] - shift_bar, 0.0)
    raw_bar, element_bar = taken(condition.assembly_dp_bar, judged), taken(condition.element_dp_bar, judged)
    with np.errstate(divide="ignore", invalid="ignore"):
        restated = np.where(raw_bar > 0.0, np.minimum(np.abs(element_bar) / raw_bar, 1.0), 1.0)
    rounded_bar = ROUNDED_STEPS * shift_bar / SHIFT_IN_STEPS * restated
    least = np.minimum(np.exp(-SURE_SDS * log_sd), LEAST_OF_NOMINAL)
    most = np.maximum(np.exp(SURE_SDS * log_sd), MOST_OF_NOMINAL)
    return _Range(least * clean_bar - rounded_bar, most * clean_bar + rounded_bar, clean_bar)


def _told(
    columns: PlantColumns,
    condition: Condition,
    position: int,
    finding: _Finding,
    judged: Ints,
    expected: _Range,
    at: int,
) -> Diagnosis:
    """One finding with its numbers: restated to the warm state, since only there readings compare."""
    shift_bar = float(condition.log_shift_bar[position])
    clean_bar = float(np.exp(condition.log_clean_before[position])) - shift_bar
    first, at_day = judged[:AGREEING], float(columns.dp.day[judged[-1]])
    shows_bar = float(condition.element_dp_bar[first].mean())
    numbers: dict[str, Any] = {
        "fitted_day": float(columns.fitted.fitted_day[position]),
        "first_day": float(columns.dp.day[first[0]]),
        "read_bar": [round(float(bar), 3) for bar in condition.assembly_dp_bar[first]],
        "shows_bar": round(max(shows_bar, 0.0), 3),
        "expected_bar": round(clean_bar, 3),
        "least_bar": round(float(expected.least_bar[at].max()), 3),
        "most_bar": round(float(expected.most_bar[at].min()), 3),
        "warm_degC": round(float(condition.warm.oil_temperature_degC[position]), 1),
        "grade": _grade(columns, position, shows_bar / clean_bar),
        "at_day": at_day,
    }
    system = int(columns.positions.system[position])
    return Diagnosis(*(system, position, finding.code, finding.severity, numbers, TaskKind.INSPECT), since_day=at_day)


def _grade(columns: PlantColumns, position: int, times: float) -> int | None:
    """The viscosity grade with which the oil would show so much with a sound element; None where none would.

    ΔP goes with the viscosity, and neighbouring grades are half as viscous again (ISO 3448): within the tolerance
    of a grade it may be that the oil is another one.
    """
    specified = columns.systems.fluid[int(columns.positions.system[position])].grade
    if specified is None or specified not in MIDPOINT_40_MM2_S or times <= 0.0:
        return None
    grades = list(MIDPOINT_40_MM2_S)
    at = grades.index(specified)
    for grade in grades[max(at - MISTAKEN_GRADES, 0) : at + MISTAKEN_GRADES + 1]:
        ratio = MIDPOINT_40_MM2_S[grade] / MIDPOINT_40_MM2_S[specified]
        if grade != specified and abs(times / ratio - 1.0) <= TOLERANCE:
            return grade
    return None
