"""A plant, or a hundred, loaded once: columns over positions and ragged readings as offsets into flat arrays.

Times are `day`: days since 1970-01-01T00:00Z as floats. A number that is not known is NaN, never zero. Indices
point from row to row (`positions.system[i]` is a row of `systems`); −1 means none.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.engineering.cleanliness_code import Code
from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_properties import OilProperties
from scheduler.vocabulary import (
    Access,
    ElementKind,
    EventKind,
    Found,
    IndicatorState,
    Place,
    RemovalReason,
    SamplePoint,
    Stage,
    Status,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PlantRows:
    code: tuple[str, ...]
    zone: tuple[str, ...]
    currency: tuple[str, ...]  # ISO 4217, empty: none is told
    risk: Floats  # NaN: none is set
    horizon_d: Floats
    issue_ahead_d: Floats  # NaN: a person issues


@dataclass(frozen=True, slots=True)
class SystemRows:
    code: tuple[str, ...]
    plant: Ints
    status: tuple[Status, ...]
    fluid: tuple[Fluid, ...]
    oil: tuple[OilProperties, ...]
    water_saturation_20_ppm: Floats  # water that the fluid dissolves at 20 °C
    working_temperature_degC: Floats
    coldest_start_degC: Floats
    hours_per_week: Floats
    reservoir_volume_L: Floats
    working_pressure_bar: Floats
    most_sensitive: tuple[str, ...]
    cleanliness_target: tuple[Code | None, ...]
    stop_cost: Floats  # this and the next two in the plant's currency
    labour_cost: Floats  # of one change
    late_cost: Floats  # of a change after the limit was passed, all in


@dataclass(frozen=True, slots=True)
class MeterRows:
    """Meters with their readings; an installation's `fitted_hours` and `removed_hours` are readings too."""

    system: Ints
    code: tuple[str, ...]
    digits: tuple[int | None, ...]
    offsets: Ints  # (meters + 1,)
    day: Floats
    shown_h: Floats
    kind: Ints
    is_date: Flags


@dataclass(frozen=True, slots=True)
class ElementTypeRows:
    part_number: tuple[str, ...]
    kind: tuple[ElementKind, ...]
    seals: tuple[str, ...]
    seal_kit: tuple[str, ...]
    clean_dp_bar: Floats
    rated_flow_lpm: Floats
    rated_viscosity_mm2_s: Floats
    shelf_life_d: Floats
    rating_um: Floats
    beta: Floats  # at `rating_um`
    capacity_g: Floats
    price: Floats
    currency: tuple[str, ...]  # of `price`


@dataclass(frozen=True, slots=True)
class ElementCurves:
    """The makers' points of element ΔP against retained dust, type by type with `ElementTypeRows`, by mass."""

    offsets: Ints  # (types + 1,)
    retained_g: Floats
    dp_bar: Floats


@dataclass(frozen=True, slots=True)
class PositionRows:
    code: tuple[str, ...]
    system: Ints
    meter: Ints
    place: tuple[Place, ...]
    specified_type: Ints
    quantity: Ints
    housing: tuple[str, ...]
    side: tuple[str, ...]
    status: tuple[Status, ...]
    access: tuple[Access, ...]
    flow_lpm: Floats
    terminal_dp_bar: Floats
    indicator_dp_bar: Floats
    bypass_dp_bar: Floats
    housing_dp_bar: Floats
    vacuum_limit_bar: Floats
    inlet_head_m: Floats
    shut_at_start: Flags
    max_hours: Floats
    max_age_d: Floats


@dataclass(frozen=True, slots=True)
class FittedRows:
    """What sits in each position now, row for row with `PositionRows`; `fitted_day` NaN: nothing known.

    `lot_expires_day` is what the store's counts say of the lot, NaN where nothing.
    """

    fitted_day: Floats
    is_date: Flags
    type: Ints
    lot: tuple[str, ...]
    lot_expires_day: Floats


@dataclass(frozen=True, slots=True)
class FinishedLives:
    position: Ints
    type: Ints
    fitted_day: Floats
    fitted_is_date: Flags
    removed_day: Floats
    removed_is_date: Flags
    reason: tuple[RemovalReason, ...]


@dataclass(frozen=True, slots=True)
class DpReadings:
    """Readings of elements one after the other, each element's in order of time.

    `dp` of the plant holds those since the fitting of what sits in each position now, position by position, and
    `life_dp` those of the finished lives, life by life.
    """

    offsets: Ints  # (elements + 1,)
    day: Floats
    is_date: Flags
    stage: tuple[Stage | None, ...]
    dp_bar: Floats
    upstream_bar: Floats
    downstream_bar: Floats
    vacuum_bar: Floats
    flow_lpm: Floats
    oil_temperature_degC: Floats
    indicator: tuple[IndicatorState | None, ...]


@dataclass(frozen=True, slots=True)
class EventRows:
    system: Ints
    position: Ints
    day: Floats
    kind: tuple[EventKind, ...]


@dataclass(frozen=True, slots=True)
class FindingRows:
    """What jobs found, by day. `position` −1: in the system."""

    system: Ints
    position: Ints
    day: Floats
    found: tuple[frozenset[Found], ...]


@dataclass(frozen=True, slots=True)
class LevelRows:
    """Looks at the oil level, by day: percent of full or litres below full, NaN where it was told the other way."""

    system: Ints
    day: Floats
    level_pct: Floats
    below_full_L: Floats
    at_rest: Flags
    defined_position: Flags


@dataclass(frozen=True, slots=True)
class TopUpRows:
    system: Ints
    day: Floats
    fluid: tuple[Fluid, ...]
    volume_L: Floats


@dataclass(frozen=True, slots=True)
class OilSampleRows:
    """Oil samples in any order. `position` −1: of the system. A count is NaN and a code None where there is none."""

    system: Ints
    position: Ints
    point: tuple[SamplePoint, ...]
    day: Floats
    code: tuple[Code | None, ...]
    count_per_mL: Floats  # (samples, 3) of ≥4, ≥6 and ≥14 µm(c)
    water_ppm: Floats
    water_saturation_pct: Floats


@dataclass(frozen=True, slots=True)
class StopRows:
    """Periods in which a system may be taken out of service; a plant's stop has system −1."""

    plant: Ints
    system: Ints
    start_day: Floats
    end_day: Floats


@dataclass(frozen=True, slots=True)
class PlantColumns:
    """Everything that a pass decides from."""

    as_of_day: float
    plants: PlantRows
    systems: SystemRows
    meters: MeterRows
    types: ElementTypeRows
    curves: ElementCurves
    positions: PositionRows
    fitted: FittedRows
    lives: FinishedLives
    dp: DpReadings
    life_dp: DpReadings
    events: EventRows
    findings: FindingRows
    levels: LevelRows
    top_ups: TopUpRows
    oil_samples: OilSampleRows
    stops: StopRows
    alternates: dict[str, tuple[str, ...]]  # part number -> what may stand in for it, best first

    def systems_ready(self) -> Flags:
        """Systems that run or stand ready."""
        ready = {Status.IN_SERVICE, Status.STANDBY}
        return np.array([status in ready for status in self.systems.status], dtype=bool)

    def by_vacuum(self) -> Flags:
        """Positions whose gauge, where there is one, shows the vacuum at a pump's inlet."""
        return np.array([place is Place.SUCTION for place in self.positions.place], dtype=bool)

    def in_service(self) -> Flags:
        """Positions in service in a system that runs or stands ready."""
        position_ready = np.array([status is Status.IN_SERVICE for status in self.positions.status], dtype=bool)
        return np.asarray(position_ready & self.systems_ready()[self.positions.system])
