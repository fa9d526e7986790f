"""The filters of each system with what they add to the cleaning of its oil."""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.engineering.contamination_balance import Stream, cleaned_flow_by_filter_lpm
from scheduler.engineering.filtration import beta_at_size
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
from scheduler.vocabulary import Place

STREAM_OF = {
    Place.SUCTION: Stream.SUCTION,
    Place.PRESSURE: Stream.PRESSURE,
    Place.CHARGE: Stream.PRESSURE,
    Place.PILOT: Stream.PRESSURE,
    Place.RETURN: Stream.RETURN,
    Place.OFFLINE: Stream.APART,
    Place.CASE_DRAIN: Stream.APART,
    Place.OTHER: Stream.APART,
}
"""Where each place's oil comes from and goes to; ours where plants differ. A breather and a filler hold no oil."""


@dataclass(frozen=True, slots=True)
class SystemFilters:
    """F filters in service with something fitted that filters oil; resting sides of duplex housings are left out.

    cleaned_lpm (F, 3): what each adds to its system's E at ≥4, ≥6 and ≥14 µm(c), NaN where flow or β is not known.
    beta (F, 3): counted on at those sizes. run_share: its run hours over those of its system's other filters.
    """

    position: Ints
    system: Ints
    flow_lpm: Floats
    run_share: Floats
    beta: Floats
    cleaned_lpm: Floats

    def of_system(self, system: int) -> Ints:
        return np.flatnonzero(self.system == system)

    def cleaned_by_system_lpm(self, systems: int) -> Floats:
        """E (systems, 3) of what is known; 0 where nothing is."""
        return np.column_stack(
            [
                np.bincount(self.system, np.nan_to_num(self.cleaned_lpm[:, size]), minlength=systems)
                for size in range(len(SIZES_um_c))
            ]
        )


def system_filters(columns: PlantColumns, duty: Duty) -> SystemFilters:
    """Of every system in service or on standby."""
    positions = columns.positions
    holds_oil = np.array([place in STREAM_OF for place in positions.place], dtype=bool)
    position = np.flatnonzero(columns.in_service() & holds_oil & (columns.fitted.type >= 0) & duty.gains_hours)
    kind = columns.fitted.type[position]
    rating, stated = columns.types.rating_um[kind], columns.types.beta[kind]
    beta = beta_at_size(stated[:, None], rating[:, None], np.array(SIZES_um_c, dtype=np.float64))
    system, flow = positions.system[position], positions.flow_lpm[position]
    share = _run_share(columns, duty, position)
    stream = np.array([STREAM_OF[positions.place[each]] for each in position], dtype=np.intp)
    cleaned = [
        cleaned_flow_by_filter_lpm(system, stream, flow, beta[:, size], run_share=share)
        for size in range(len(SIZES_um_c))
    ]
    return SystemFilters(position, system, flow, share, beta, np.column_stack(cleaned))


def _run_share(columns: PlantColumns, duty: Duty, position: Ints) -> Floats:
    """Hours a planned hour of a filter's meter over those of its system's main meter, which is the first with ''."""
    rate = np.array([meter.rate.per_planned_hour for meter in duty.meters])
    main = np.ones(len(columns.systems.code))
    for index, code in enumerate(columns.meters.code):
        if not code:
            main[columns.meters.system[index]] = max(rate[index], 1e-3)
    own = rate[columns.positions.meter[position]]
    return np.asarray(np.where(own > 0.0, own / main[columns.positions.system[position]], 1.0))
