"""What there is in the invented plants: sites, systems, positions, the elements that sat in them."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from tests.flow.foreign_plant.catalogue import Fluid, Part
from tests.flow.foreign_plant.run_hours import Meter
from tests.flow.foreign_plant.table import Row


@dataclass(frozen=True)
class Plant:
    """A site and the span in which its facts lie."""

    code: str
    name: str
    zone: ZoneInfo
    zone_name: str
    last_day: date

    def at(self, day: date, clock: time) -> datetime:
        """A local time of the plant; only daylight times are asked for, so that no clock change is met."""
        return datetime.combine(day, clock, tzinfo=self.zone)


@dataclass
class System:
    """One hydraulic system."""

    number: int
    code: str
    plant: Plant
    fluid: Fluid
    start: date
    main: Meter
    days: list[date]
    warm: float
    pump_flow: float
    reservoir: float
    pressure: float
    weekly: float
    target: str
    rhythm: int
    kidney: Meter | None = None


@dataclass
class Life:
    """One element's stay."""

    fitted: datetime
    part: str
    rate: float
    start_x: float
    runs_from: datetime
    removed: datetime | None = None
    runs_to: datetime | None = None
    reason: str = ""
    cleanings: int | None = None
    serial: str = ""
    lot: str = ""


@dataclass
class Position:
    """One place where an element sits."""

    code: str
    system: System
    place: str
    part: Part
    meter: Meter
    flow: float
    terminal: float | None
    indicator: float | None
    bypass: float | None
    style: str
    pair: bool
    design_hours: float
    quantity: int = 1
    head: float | None = None
    max_hours: float | None = None
    max_months: float | None = None
    housing: str = ""
    side: str = ""
    indicator_kind: str = ""
    lives: list[Life] = field(default_factory=list)

    def held(self, life: Life, at: datetime) -> float:
        """The fraction of its capacity that the element holds."""
        end = at if life.runs_to is None or at < life.runs_to else life.runs_to
        return life.start_x + life.rate * max(0.0, self.meter.run(end) - self.meter.run(life.runs_from))

    def drop(self, x: float, flow: float, celsius: float) -> float:
        """ΔP in bar across the assembly."""
        fluid = self.system.fluid
        q = flow / (self.part.flow * self.quantity)
        thick = fluid.viscosity(celsius) * fluid.density / (32.0 * 860.0)
        total = self.part.clean * q * thick * self.part.load(x) + 0.12 * q * q * fluid.density / 860.0
        if self.bypass is not None and total > self.bypass:
            total = self.bypass + 0.12 * (total - self.bypass)
        return total

    def life_at(self, at: datetime) -> Life:
        """The element that was in at `at`."""
        return next((life for life in reversed(self.lives) if life.fitted <= at), self.lives[0])


@dataclass
class World:
    """Everything that happened, before it is written down."""

    today: date
    rng: random.Random
    plants: tuple[Plant, Plant]
    systems: list[System] = field(default_factory=list)
    positions: list[Position] = field(default_factory=list)
    events: dict[tuple[str, datetime, str], Row] = field(default_factory=dict)

    def happened(self, system: System, at: datetime, kind: str, *, position: str = "", note: str = "") -> None:
        """Notes an event once."""
        self.events.setdefault(
            (system.code, at.astimezone(UTC), kind),
            {"system": system.code, "at": at, "kind": kind, "position": position, "note": note},
        )
