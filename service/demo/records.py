"""What the demo plant is made of: systems, positions, and how each position wears and is read.

The fields that stand in a plant folder have that folder's names and units. `Wear`, `Now` and `Readout` exist
for the simulation only: they say what the simulated plant is meant to show on the day that it is written.
"""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from scheduler.vocabulary import (
    Access,
    Answer,
    FluidFamily,
    IndicatorKind,
    Place,
)

Value = str | int | float | date | datetime | None
Row = dict[str, Value]
"""One row of a table by column name, values in the canonical unit; None is an empty cell."""

Tables = dict[str, list[Row]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFluid:
    code: str
    name: str
    family: FluidFamily
    grade: int
    viscosity_40_mm2_s: float
    viscosity_100_mm2_s: float
    density_15_kg_m3: float


class Shift(StrEnum):
    """How a system's week is spread over days."""

    FIVE_DAYS = "five_days"
    SIX_DAYS = "six_days"


@dataclass(frozen=True, slots=True, kw_only=True)
class OilTemperature:
    working_degC: float
    coldest_start_degC: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """In the plant's currency: a stop for its own sake, the work of one change, a change that came too late."""

    stop: float
    labour: float
    late: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MainMeter:
    """`start_h`: what it showed on the first day of the history."""

    start_h: float
    digits: int
    read_daily: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """The usual ISO 4406 code of the reservoir, and whether the laboratory reports counts or codes."""

    codes: tuple[int, int, int] = (18, 16, 12)
    every_d: int = 42
    as_counts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSystem:
    code: str
    name: str
    fluid: str
    reservoir_L: float
    pump_flow_lpm: float
    working_pressure_bar: float
    cleanliness_target: str
    most_sensitive: str
    hours_per_week: float
    hazards: str
    isolation_procedure: str
    permits: str | None
    level_position: str | None = None
    walking_order: int | None = None
    oil: OilTemperature
    costs: Costs
    main_meter: MainMeter
    shift: Shift = Shift.FIVE_DAYS
    flow_spread: float = 0.05
    sampling: Sampling = field(default_factory=Sampling)


class HowRead(StrEnum):
    """What a technician can see at a position."""

    DP = "dp"
    PAIR = "pair"
    VACUUM = "vacuum"
    INDICATOR_ONLY = "indicator_only"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Readout:
    """How often and how well a position is read. `watched`: daily in the last days, oil warm.

    `last_is_cold`: the newest sighting was made on a cold start, and nobody wrote the temperature down.
    """

    how: HowRead = HowRead.NOTHING
    step_bar: float = 0.1
    per_week: float = 1.2
    flow_known: bool = True
    temperature_known: bool = True
    watched: bool = False
    last_is_cold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """The element fitted today: exactly one of the share of its load held, its run hours, or its age."""

    load: float | None = None
    run_h: float | None = None
    age_d: int | None = None
    nothing_known: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """Average run hours to the terminal ΔP, and when the plant used to change the element instead.

    `short_lives`: how many of the newest finished lives reached the limit at `SHORT_SHARE` of the usual life.
    `torn_d`: days before today on which the element let go and its ΔP fell.
    """

    life_h: float
    now: Now
    habit_h: float | None = None
    habit_d: int | None = None
    limit_share: float = 0.2
    short_lives: int = 0
    torn_d: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPosition:
    code: str
    system: str
    place: Place
    part_number: str
    housing: str
    flow_lpm: float | None = None
    quantity: int = 1
    side: str | None = None
    meter: str = ""
    terminal_dp_bar: float | None = None
    indicator_dp_bar: float | None = None
    indicator_kind: IndicatorKind | None = None
    bypass: Answer | None = None
    bypass_dp_bar: float | None = None
    housing_dp_bar: float = 0.0
    vacuum_limit_bar: float | None = None
    inlet_head_m: float | None = None
    shut_at_start: Answer | None = None
    max_hours: float | None = None
    max_age_d: float | None = None
    access: Access = Access.STOPPED
    housing_volume_L: float | None = None
    torque_Nm: float | None = None
    wear: Wear
    readout: Readout = field(default_factory=Readout)

    @property
    def limit_bar(self) -> float:
        """The ΔP across the assembly, warm, at which the simulated element is full."""
        if self.terminal_dp_bar is not None:
            return self.terminal_dp_bar
        if self.indicator_dp_bar is not None:
            return self.indicator_dp_bar
        if self.bypass_dp_bar is not None:
            return 0.75 * self.bypass_dp_bar  # common practice, no source
        raise ValueError(f"{self.code} has no terminal, indicator or bypass pressure")
