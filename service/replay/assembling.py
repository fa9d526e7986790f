"""From the steps of a replay to what it found, as the wire tells it."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from api_schemas.replays import (
    AgeErrors,
    DiagnosisRecord,
    PeriodReliability,
    PositionOutcome,
    RaisedDiagnosis,
    Reliability,
    ReplayResult,
    RuleCost,
    TypeCosts,
    TypeOutcome,
)
from scheduler.planning.duty import assess_duty
from scheduler.planning.plant_columns import Flags, PlantColumns
from scheduler.planning.replay import LEARNED_EVERY_D, Seen
from scheduler.planning.replay_costs import UNTOLD_LATE_RATIO, Policies, costs_of, fixed_intervals
from scheduler.planning.replay_diagnoses import FOLLOWED_D, Span, records_of, spans_of
from scheduler.planning.replay_outcomes import (
    ASKED_AT_SHARE,
    Asked,
    asked_as_expected,
    asked_at_ages,
    follow,
    past_lives,
    replayed_change_h,
)
from scheduler.statistics.forecast_outcomes import Errors, Outcomes, errors_of, reliability_of
from scheduler.statistics.forecast_outcomes import Reliability as Reckoned
from scheduler.statistics.policy_cost import PolicyCost
from service.plant_store.time import from_day

_YEAR_D = 365.25

NOTES = (
    "Facts as they were recorded at each step; catalogue, positions, limits, costs and stops as they are today.",
    "Outcomes as they are known now. Lives with a commissioning or a lost pump, and mistakes, are left out.",
    "Errors are of lives that ended at their limit. Where most are changed before it, those are the shorter ones, "
    "and their forecasts look late; the 80 % band and the mean PIT count the others by how long they lasted.",
    "The end of a life is its change, not the hour at which its limit was passed.",
    f"What lives teach is learned anew every {LEARNED_EVERY_D:.0f} days, not at each step.",
    "Where no interval is stated, the fixed one is the median of all that was in fact used, known only afterwards.",
    "Costs are of lives fitted and changed within the replay. A rule that would have let a life run past its real "
    "change gains nothing by it. Due dates keep stated intervals too, so they are never later than these.",
    f"Where the plant does not tell both costs, a planned change costs 1 and a late one {UNTOLD_LATE_RATIO:g}.",
    f"A failure within {FOLLOWED_D:.0f} days of a diagnosis is held to have followed it.",
)


def assemble(columns: PlantColumns, steps: Sequence[Seen], plant: str | None) -> ReplayResult:
    """What the steps found, with outcomes as known in `columns`, told of one plant or of all."""
    duty = assess_duty(columns)
    lives, of_plant = past_lives(columns, duty), _positions_of(columns, plant)
    lives = lives.of(of_plant[lives.position])
    followed = follow(columns, duty, lives, steps)
    at_ages, expected = asked_at_ages(lives, followed, steps), asked_as_expected(lives, followed, steps)
    first_day = steps[0].as_of_day if steps else columns.as_of_day
    within = (lives.fitted_day >= first_day) & np.array([len(at.step) > 0 for at in followed], dtype=bool)
    change_h = replayed_change_h(columns, duty, lives, followed, steps)
    policies = costs_of(columns, lives, fixed_intervals(columns, lives), change_h, within)
    spans = [span for span in spans_of(columns, steps) if _is_of(columns, span, plant)]
    of_types = lives.type[at_ages.life], lives.type[expected.life]
    return ReplayResult(
        notes=list(NOTES),
        positions=int(of_plant.sum()),
        lives=len(np.union1d(at_ages.life, expected.life)),
        types=list(_types(columns, at_ages, expected, *of_types)),
        by_position=list(
            _by_position(
                *(
                    columns,
                    at_ages,
                    expected,
                    lives.position[at_ages.life],
                    lives.position[expected.life],
                    of_types[1],
                )
            )
        ),
        calibration=list(_by_year(expected, steps)),
        costs=[_type_costs(columns, each) for each in policies],
        diagnoses=[
            DiagnosisRecord(
                code=each.code,
                raised=each.raised,
                cleared=each.cleared,
                stood_days=None if each.stood_d is None else round(each.stood_d, 1),
                changed_within=each.changed_within,
                failed_within=each.failed_within,
                by_chance=round(each.by_chance, 2),
            )
            for each in records_of(columns, spans, steps, of_plant)
        ],
        raised=[_raised(columns, span) for span in spans],
    )


def _positions_of(columns: PlantColumns, plant: str | None) -> Flags:
    of = columns.systems.plant[columns.positions.system]
    return np.array([plant in (None, columns.plants.code[one]) for one in of], dtype=bool)


def _is_of(columns: PlantColumns, span: Span, plant: str | None) -> bool:
    return plant in (None, columns.plants.code[int(columns.systems.plant[span.of.system])])


def _types(
    columns: PlantColumns,
    at_ages: Asked,
    expected: Asked,
    type_at_ages: np.ndarray[tuple[int], np.dtype[np.intp]],
    type_expected: np.ndarray[tuple[int], np.dtype[np.intp]],
) -> Iterator[TypeOutcome]:
    """All together by each way and both, then type by type."""
    for by in ("all", "pressure", "life"):
        one, other = (_made_by(asked, by) for asked in (at_ages, expected))
        if _tells(at_ages.of(one), expected.of(other)):
            yield _outcome(None, by, at_ages.of(one), expected.of(other))
    for kind in np.union1d(type_at_ages, type_expected).tolist():
        for by in ("pressure", "life"):
            one = _made_by(at_ages, by) & (type_at_ages == kind)
            other = _made_by(expected, by) & (type_expected == kind)
            if _tells(at_ages.of(one), expected.of(other)):
                yield _outcome(columns.types.part_number[kind], by, at_ages.of(one), expected.of(other))


def _tells(at_ages: Asked, expected: Asked) -> bool:
    return bool(len(expected.life)) or bool(np.any(at_ages.outcomes.ended))


def _made_by(asked: Asked, by: str) -> Flags:
    return np.ones(len(asked.life), dtype=bool) if by == "all" else asked.is_read == (by == "pressure")


def _outcome(part_number: str | None, by: str, at_ages: Asked, expected: Asked) -> TypeOutcome:
    return TypeOutcome.model_validate(
        {
            "part_number": part_number,
            "by": by,
            "at_ages": [
                _errors(errors_of(at_ages.outcomes.of(at_ages.age == age)), share)
                for age, share in enumerate(ASKED_AT_SHARE)
            ],
            "reliability": _reliability(reliability_of(expected.outcomes)),
        }
    )


def _by_position(
    columns: PlantColumns,
    at_ages: Asked,
    expected: Asked,
    position_at_ages: np.ndarray[tuple[int], np.dtype[np.intp]],
    position_expected: np.ndarray[tuple[int], np.dtype[np.intp]],
    type_expected: np.ndarray[tuple[int], np.dtype[np.intp]],
) -> Iterator[PositionOutcome]:
    half = ASKED_AT_SHARE.index(0.5)
    for position in np.unique(position_expected).tolist():
        own = position_expected == position
        kind = int(type_expected[own][-1])
        errors = errors_of(at_ages.outcomes.of((position_at_ages == position) & (at_ages.age == half)))
        yield PositionOutcome(
            position=columns.positions.code[position],
            part_number=columns.types.part_number[kind],
            errors=_errors(errors, ASKED_AT_SHARE[half]) if errors.forecasts else None,
            reliability=_reliability(reliability_of(expected.outcomes.of(own))),
        )


def _by_year(expected: Asked, steps: Sequence[Seen]) -> Iterator[PeriodReliability]:
    if not steps:
        return
    as_of_day = np.array([seen.as_of_day for seen in steps])
    year = ((as_of_day - as_of_day[0]) // _YEAR_D).astype(np.int64)
    for number in range(int(year[-1]) + 1):
        starts = as_of_day[0] + number * _YEAR_D
        found: Outcomes = expected.outcomes.of(year[expected.step] == number)
        yield PeriodReliability(
            starts_at=from_day(starts),
            ends_at=from_day(min(starts + _YEAR_D, as_of_day[-1])),
            reliability=_reliability(reliability_of(found)),
        )


def _errors(found: Errors, at_share: float) -> AgeErrors:
    return AgeErrors(
        at_share=at_share,
        forecasts=found.forecasts,
        absolute_error_hours=_told(found.absolute_error_h, 0),
        absolute_error_share=_told(found.absolute_error_share),
        error_share=_told(found.error_share),
        late_by_fifth=_told(found.late_by_fifth_share),
    )


def _reliability(found: Reckoned) -> Reliability:
    return Reliability(
        lives_at_limit=found.lives_at_limit,
        lives_cut_short=found.lives_cut_short,
        forecasts=found.forecasts,
        mean_pit=_told(found.mean_pit),
        band_share=_told(found.band_share),
    )


def _type_costs(columns: PlantColumns, found: Policies) -> TypeCosts:
    return TypeCosts(
        part_number=None if found.type < 0 else columns.types.part_number[found.type],
        currency=found.currency,
        lives=found.lives,
        stated=found.stated,
        actual=_rule(found.actual),
        fixed=_rule(found.fixed),
        due_dates=_rule(found.replayed),
        best_fixed=_rule(found.best),
        best_interval_hours=_told(found.best_interval_h, 0),
    )


def _rule(found: PolicyCost) -> RuleCost:
    return RuleCost(
        changes=found.changes,
        late=found.late,
        hours=round(found.run_h, 0),
        cost=round(found.cost, 2),
        per_1000_hours=_told(found.per_1000_h, 3),
    )


def _raised(columns: PlantColumns, span: Span) -> RaisedDiagnosis:
    zone = ZoneInfo(columns.plants.zone[int(columns.systems.plant[span.of.system])])

    def at(day: float | None) -> datetime | None:
        return None if day is None else from_day(day).astimezone(zone)

    return RaisedDiagnosis(
        code=span.of.code,
        system=columns.systems.code[span.of.system],
        position=None if span.of.position < 0 else columns.positions.code[span.of.position],
        severity=span.of.severity,
        raised_at=from_day(span.raised_day).astimezone(zone),
        cleared_at=at(span.cleared_day),
        next_change_at=at(span.next_change_day),
        reason=None if span.reason is None else span.reason.value,
        failed_within=span.failed_within,
    )


def _told(value: float, digits: int = 4) -> float | None:
    return round(value, digits) if np.isfinite(value) else None
