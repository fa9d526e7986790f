"""Which of the plant's stops a piece of work goes into."""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import Access


@dataclass(frozen=True, slots=True)
class Stop:
    """A period in which a system may be taken out of service, in days."""

    start_day: float
    end_day: float


def stops_of_system(columns: PlantColumns, system: int) -> tuple[Stop, ...]:
    """The stops of a system and of its plant that are not over, by start."""
    stops = columns.stops
    of_plant = (stops.plant >= 0) & (stops.plant == columns.systems.plant[system])
    concerned = (of_plant | (stops.system == system)) & (stops.end_day > columns.as_of_day)
    found = [Stop(float(stops.start_day[i]), float(stops.end_day[i])) for i in np.flatnonzero(concerned)]
    return tuple(sorted(found, key=lambda stop: (stop.start_day, stop.end_day)))


def last_stop_before(stops: tuple[Stop, ...], due_day: float, access: Access) -> Stop | None:
    """The last stop that begins before the work is due, which uses most of the element's life.

    None where the position can be opened while the system runs, or no stop begins in time.

    >>> saturdays = (Stop(100.0, 100.5), Stop(107.0, 107.5), Stop(114.0, 114.5))
    >>> last_stop_before(saturdays, 109.0, Access.STOPPED)
    Stop(start_day=107.0, end_day=107.5)
    >>> last_stop_before(saturdays, 99.0, Access.STOPPED) is None
    True
    """
    if access is Access.RUNNING:
        return None
    in_time = [stop for stop in stops if stop.start_day <= due_day]
    return in_time[-1] if in_time else None
