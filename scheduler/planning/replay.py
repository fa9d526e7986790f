"""The plant's past gone through step by step: what a pass would have said at each, from what was known then.

What the lives teach is learned at the first step of a block and again where an element of another type was fitted
since; the steps between use what was learned, as passes of some systems do. Blocks do not depend on each other, so
that any of them can be gone through at any time. Work orders, stores and looks that were done play no part.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.planning.elements import fitted_elements
from scheduler.planning.pipeline import Known, Planned, Shelves, plan
from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.statistics.forecast_outcomes import LEVELS

LEARNED_EVERY_D = 28.0
"""Days that one learning serves. Ours: a pass of the whole learns each time, a replay of years cannot."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A diagnosis that stood at a step; `position` −1: of the whole system."""

    code: str
    system: int
    position: int
    severity: str


@dataclass(frozen=True, slots=True)
class Seen:
    """What a pass would have said of P positions; NaN where it said nothing.

    early_day, median_day, late_day, due_day (P,): as in the due list. fitted_day, run_h (P,): of what was known to be
    fitted. is_read (P,): forecast by its ΔP, not by lives alone. hours_left (P, Q): at `LEVELS`, infinite where
    beyond every horizon.
    """

    as_of_day: float
    due_day: Floats
    early_day: Floats
    median_day: Floats
    late_day: Floats
    fitted_day: Floats
    run_h: Floats
    is_read: Flags
    hours_left: Floats
    standing: tuple[Standing, ...]


def replay_block(cuts: Iterable[PlantColumns]) -> Iterator[Seen]:
    """Go through the steps of one block, each given by what was known at it."""
    prior: ElementPrior | None = None
    types: list[int] = []
    for columns in cuts:
        fitted = fitted_elements(columns).type.tolist()
        if fitted != types:
            prior = None
        planned = plan(Known(columns, prior, (), (), {}, Shelves()))
        prior, types = planned.prior, fitted
        yield _seen(columns, planned)


def _seen(columns: PlantColumns, planned: Planned) -> Seen:
    positions = len(columns.positions.code)
    days = np.full((4, positions), np.nan)
    for item in planned.items:
        told = (item.due_day, item.early_day, item.median_day, item.late_day)
        days[:, item.position] = [np.nan if day is None else day for day in told]
    remaining = planned.condition.remaining
    hours_left = np.column_stack([remaining.quantile(level) for level in LEVELS])
    return Seen(
        as_of_day=columns.as_of_day,
        due_day=days[0],
        early_day=days[1],
        median_day=days[2],
        late_day=days[3],
        fitted_day=columns.fitted.fitted_day,
        run_h=planned.duty.run_h,
        is_read=planned.condition.has_forecast,
        hours_left=np.where(np.isnan(planned.duty.run_h)[:, None], np.nan, hours_left),
        standing=tuple(
            Standing(found.code, found.system, found.position, found.severity.value) for found in planned.diagnoses
        ),
    )
