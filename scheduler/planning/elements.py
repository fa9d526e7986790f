"""Elements with their readings, whether they sit in a position now or sat there before: what is judged alike."""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.plant_columns import DpReadings, Flags, Floats, Ints, PlantColumns


@dataclass(frozen=True, slots=True)
class Elements:
    """One row per element, and its readings in `dp`. `fitted_day` NaN: nothing known to be fitted.

    `removed_day` is infinite for what still sits there. `type` is the specified one where the fitted is not known.
    """

    position: Ints
    type: Ints
    fitted_day: Floats
    fitted_is_date: Flags
    removed_day: Floats
    removed_is_date: Flags
    dp: DpReadings

    def __len__(self) -> int:
        return len(self.position)

    def of_readings(self) -> Ints:
        """The element of each reading, (N,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.dp.offsets))


def fitted_elements(columns: PlantColumns) -> Elements:
    """What sits in each position now: row for row the positions."""
    fitted, count = columns.fitted, len(columns.positions.code)
    return Elements(
        position=np.arange(count),
        type=np.where(fitted.type >= 0, fitted.type, columns.positions.specified_type),
        fitted_day=fitted.fitted_day,
        fitted_is_date=fitted.is_date,
        removed_day=np.full(count, np.inf),
        removed_is_date=np.zeros(count, dtype=bool),
        dp=columns.dp,
    )


def finished_elements(columns: PlantColumns) -> Elements:
    """What sat in the positions before: row for row the finished lives."""
    lives = columns.lives
    return Elements(
        position=lives.position,
        type=lives.type,
        fitted_day=lives.fitted_day,
        fitted_is_date=lives.fitted_is_date,
        removed_day=lives.removed_day,
        removed_is_date=lives.removed_is_date,
        dp=columns.life_dp,
    )
