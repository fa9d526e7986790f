"""What the words of a job card depend on: one task, its position and its system as the plant describes them."""

from dataclasses import dataclass

from scheduler.engineering.new_element import ExpectedDp
from scheduler.vocabulary import Access, Answer, EventKind, FluidFamily, Hazard, IndicatorKind, Place, TaskKind

OPENING_TASKS = frozenset({TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER, TaskKind.FLUSH})
"""Tasks that open the oil circuit or the reservoir."""

OPENING_EVENTS = frozenset({EventKind.PUMP_FAILURE, EventKind.HOSE_BURST, EventKind.WATER_INGRESS})
"""Events after which something has to be opened before the machine runs on; ours."""

HANDS_OFF_TASKS = frozenset({TaskKind.INSPECT, TaskKind.LOOK_WHEN_WARM, TaskKind.CHECK_LEVEL})
"""Tasks done by looking, with nothing loosened."""

RUNNING_TASKS = frozenset({TaskKind.LOOK_WHEN_WARM, TaskKind.TAKE_SAMPLE, TaskKind.CLEAN_UP})
"""Tasks done beside a machine that may run."""

TANK_TOP_PLACES = frozenset({Place.BREATHER, Place.FILLER})
"""Places on the reservoir's lid, above the oil: no line is opened there."""


@dataclass(frozen=True, slots=True)
class Job:
    """One task as its card needs it; None, or empty, where the plant has not said.

    `side` is that of a duplex housing, `test_point` where zero pressure is shown, `inlet_head_m` the oil level above
    (+) the pump inlet, `cleaned` a strainer that goes back in, `cleanings` those it has had before this job,
    `seals` the catalogue's text, `heaviest_lift` what weighs `heaviest_lift_kg`. `top_up_filter`, `clean_up` and
    `asked_by` are whole sentences. `flow_lpm` is the position's usual flow, at which `dp_after` holds.
    """

    task: TaskKind
    place: Place
    hazards: tuple[str, ...] = ()
    access: Access | None = None
    fluid_family: FluidFamily | None = None
    working_pressure_bar: float | None = None
    working_temperature_degC: float | None = None
    isolation_procedure: str | None = None
    permits: str | None = None
    position: str = ""
    system: str = ""
    part_number: str | None = None
    quantity: int = 1
    alternates: tuple[str, ...] = ()
    seals: str | None = None
    seal_kit: str | None = None
    fluid: str | None = None
    fluid_name: str | None = None
    grade: int | None = None
    side: str = ""
    housing: str | None = None
    test_point: str | None = None
    torque_Nm: float | None = None
    housing_volume_L: float | None = None
    reservoir_volume_L: float | None = None
    bypass: Answer | None = None
    indicator_kind: IndicatorKind | None = None
    inlet_head_m: float | None = None
    cleaned: bool = False
    cleanings: int | None = None
    max_cleanings: int | None = None
    heaviest_lift_kg: float | None = None
    heaviest_lift: str | None = None
    lifting_aid: str | None = None
    top_up_filter: str | None = None
    clean_up: str | None = None
    target_code: str | None = None
    oil_needed_L: float | None = None
    level_position: str | None = None
    asked_by: str | None = None
    event: EventKind | None = None
    dp_after: tuple[ExpectedDp, ...] = ()
    flow_lpm: float | None = None
    terminal_dp_bar: float | None = None

    @property
    def on_tank_top(self) -> bool:
        """A breather or a filler strainer: nothing under pressure but the reservoir's air."""
        return self.task is TaskKind.CHANGE_BREATHER or (
            self.place in TANK_TOP_PLACES and self.task in {TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER}
        )

    @property
    def opens_circuit(self) -> bool:
        """Oil runs out when the work begins: a line, a housing or the reservoir below the oil level is opened."""
        if self.task is TaskKind.CHECK_AFTER_EVENT:
            return self.event in OPENING_EVENTS
        return self.task in OPENING_TASKS and not self.on_tank_top

    @property
    def keeps_running(self) -> bool:
        """The machine runs on while the housing is open. A lone suction line never counts as one that can."""
        return (
            self.access is Access.RUNNING
            and self.task in {TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER}
            and (self.place is not Place.SUCTION or bool(self.side))
        )

    @property
    def opens_suction(self) -> bool:
        """The line between reservoir and pump is opened."""
        return self.opens_circuit and self.place is Place.SUCTION and not self.keeps_running

    @property
    def is_drained(self) -> bool:
        """The reservoir or the line has to be emptied before the housing is opened."""
        return self.opens_circuit and self.access is Access.DRAINED

    @property
    def refits(self) -> bool:
        """What comes out is cleaned and goes back: a cleanable strainer below its greatest number of cleanings."""
        is_strainer = self.task is TaskKind.SERVICE_STRAINER and self.cleaned
        return is_strainer and not self.is_worn_out

    @property
    def is_worn_out(self) -> bool:
        """The strainer has had all the cleanings that its maker allows."""
        return self.cleanings is not None and self.max_cleanings is not None and self.cleanings >= self.max_cleanings

    def has(self, hazard: Hazard) -> bool:
        """Whether the plant lists the hazard for the system."""
        return hazard.value in self.hazards
