"""The words that all three packages share: enums and unit symbols, no behaviour.

Every enum value is what stands in a plant folder, in the database and on the wire. Terms follow ISO 5598
(fluid power vocabulary), ISO 6743-4 (fluid families) and EN 13306 (maintenance); the rest are our own.
"""

from enum import StrEnum


class QuantityKind(StrEnum):
    """What a number with a unit measures. Pressures against different zeros are different kinds."""

    PRESSURE_DIFFERENCE = "pressure_difference"
    GAUGE_PRESSURE = "gauge_pressure"
    VACUUM = "vacuum"
    FLOW = "flow"
    VOLUME = "volume"
    TEMPERATURE = "temperature"
    KINEMATIC_VISCOSITY = "kinematic_viscosity"
    DENSITY = "density"
    MASS = "mass"
    HEIGHT = "height"
    PARTICLE_SIZE = "particle_size"
    RUN_TIME = "run_time"
    DURATION = "duration"
    TORQUE = "torque"
    PARTICLE_COUNT = "particle_count"
    WATER_CONTENT = "water_content"
    PERCENTAGE = "percentage"


CANONICAL_UNIT: dict[QuantityKind, str] = {
    QuantityKind.PRESSURE_DIFFERENCE: "bar",
    QuantityKind.GAUGE_PRESSURE: "bar",
    QuantityKind.VACUUM: "bar",
    QuantityKind.FLOW: "L/min",
    QuantityKind.VOLUME: "L",
    QuantityKind.TEMPERATURE: "degC",
    QuantityKind.KINEMATIC_VISCOSITY: "mm2/s",
    QuantityKind.DENSITY: "kg/m3",
    QuantityKind.MASS: "g",
    QuantityKind.HEIGHT: "m",
    QuantityKind.PARTICLE_SIZE: "um",
    QuantityKind.RUN_TIME: "h",
    QuantityKind.DURATION: "d",
    QuantityKind.TORQUE: "N*m",
    QuantityKind.PARTICLE_COUNT: "1/mL",
    QuantityKind.WATER_CONTENT: "ppm",
    QuantityKind.PERCENTAGE: "%",
}
"""The one unit that each kind has inside, and in which `export` writes it."""

FIELD_SUFFIX: dict[QuantityKind, str] = {
    QuantityKind.PRESSURE_DIFFERENCE: "_bar",
    QuantityKind.GAUGE_PRESSURE: "_bar",
    QuantityKind.VACUUM: "_bar",
    QuantityKind.FLOW: "_lpm",
    QuantityKind.VOLUME: "_L",
    QuantityKind.TEMPERATURE: "_degC",
    QuantityKind.KINEMATIC_VISCOSITY: "_mm2_s",
    QuantityKind.DENSITY: "_kg_m3",
    QuantityKind.MASS: "_g",
    QuantityKind.HEIGHT: "_m",
    QuantityKind.PARTICLE_SIZE: "_um",
    QuantityKind.RUN_TIME: "_h",
    QuantityKind.DURATION: "_d",
    QuantityKind.TORQUE: "_Nm",
    QuantityKind.PARTICLE_COUNT: "_per_mL",
    QuantityKind.WATER_CONTENT: "_ppm",
    QuantityKind.PERCENTAGE: "_pct",
}
"""How a name says its unit inside: `dp` of 2.4 bar travels as `dp_bar`."""

UNIT_SYMBOLS: dict[QuantityKind, tuple[str, ...]] = {
    QuantityKind.PRESSURE_DIFFERENCE: ("bar", "mbar", "Pa", "kPa", "MPa", "psi", "inHg", "mmHg"),
    QuantityKind.GAUGE_PRESSURE: (
        *("bar", "barg", "mbar", "Pa", "kPa", "kPag", "MPa", "MPag", "psi", "psig"),
        *("bara", "kPaa", "MPaa", "psia"),
    ),
    QuantityKind.VACUUM: ("bar", "mbar", "Pa", "kPa", "psi", "inHg", "mmHg"),
    QuantityKind.FLOW: ("L/min", "l/min", "lpm", "L/h", "m3/h", "gpm", "gal/min", "gpm_imp", "gal_imp/min"),
    QuantityKind.VOLUME: ("L", "l", "mL", "ml", "dm3", "m3", "gal", "gal_imp"),
    QuantityKind.TEMPERATURE: ("degC", "°C", "degF", "°F", "K"),
    QuantityKind.KINEMATIC_VISCOSITY: ("mm2/s", "mm²/s", "cSt", "m2/s"),
    QuantityKind.DENSITY: ("kg/m3", "kg/m³", "kg/L", "kg/l", "kg/dm3", "g/cm3", "g/mL", "g/ml", "lb/ft3"),
    QuantityKind.MASS: ("g", "mg", "kg", "oz", "lb"),
    QuantityKind.HEIGHT: ("m", "cm", "mm", "ft", "in"),
    QuantityKind.PARTICLE_SIZE: ("um", "µm", "μm", "mm"),  # both code points of the micro sign
    QuantityKind.RUN_TIME: ("h", "min"),
    QuantityKind.DURATION: ("d", "h", "week", "month", "year"),
    QuantityKind.TORQUE: ("N*m", "Nm", "N·m", "lbf*ft", "lbf*in"),
    QuantityKind.PARTICLE_COUNT: ("1/mL", "1/ml", "1/100mL", "1/100ml"),
    QuantityKind.WATER_CONTENT: ("ppm", "mg/kg", "%"),
    QuantityKind.PERCENTAGE: ("%",),
}
"""The closed list. `gal` and `gpm` are US; a `month` is 30.4375 d; `ppm` of water is by mass."""

ABSOLUTE_PRESSURE_SYMBOLS = frozenset({"bara", "kPaa", "MPaa", "psia"})
GAUGE_ONLY_SYMBOLS = frozenset({"barg", "kPag", "MPag", "psig"})


class Place(StrEnum):
    """Where in the circuit a position sits."""

    SUCTION = "suction"
    PRESSURE = "pressure"
    RETURN = "return"
    OFFLINE = "offline"
    PILOT = "pilot"
    CASE_DRAIN = "case_drain"
    CHARGE = "charge"
    BREATHER = "breather"
    FILLER = "filler"
    OTHER = "other"


class Status(StrEnum):
    """Of a system or a position. Things leave a plant by `retired`."""

    IN_SERVICE = "in_service"
    STANDBY = "standby"
    LAID_UP = "laid_up"
    RETIRED = "retired"


class ElementKind(StrEnum):
    ELEMENT = "element"
    STRAINER = "strainer"
    BREATHER = "breather"


class PartKind(StrEnum):
    SEAL_KIT = "seal_kit"
    GASKET = "gasket"
    CONSUMABLE = "consumable"


class FluidFamily(StrEnum):
    """ISO 6743-4: mineral (ISO 11158), fire-resistant (ISO 12922), environmentally acceptable (ISO 15380)."""

    HH = "HH"
    HL = "HL"
    HM = "HM"
    HV = "HV"
    HG = "HG"
    HFAE = "HFAE"
    HFAS = "HFAS"
    HFB = "HFB"
    HFC = "HFC"
    HFDR = "HFDR"
    HFDU = "HFDU"
    HETG = "HETG"
    HEPG = "HEPG"
    HEES = "HEES"
    HEPR = "HEPR"


class Hazard(StrEnum):
    """Hazards of a system that have cautions of their own; a plant may name others in its own words."""

    ACCUMULATOR = "accumulator"
    SUSPENDED_LOAD = "suspended_load"
    CONFINED_SPACE = "confined_space"
    WORK_AT_HEIGHT = "work_at_height"
    TANK_HEATER = "tank_heater"


class Access(StrEnum):
    """What has to be so before the position can be opened."""

    RUNNING = "running"
    STOPPED = "stopped"
    DRAINED = "drained"


class YesNo(StrEnum):
    YES = "yes"
    NO = "no"


class Answer(StrEnum):
    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class IndicatorKind(StrEnum):
    GAUGE = "gauge"
    POPUP_LATCHING = "popup_latching"
    SWITCH = "switch"


class IndicatorState(StrEnum):
    CLEAR = "clear"
    TRIPPED = "tripped"
    RESET = "reset"


class Stage(StrEnum):
    """Whether a reading belongs to the old or the new element on the day of a change."""

    BEFORE = "before"
    AFTER = "after"


class MeterReadingKind(StrEnum):
    """`last` and `first` are a replaced meter's final and the new one's starting value."""

    READING = "reading"
    LAST = "last"
    FIRST = "first"


class RemovalReason(StrEnum):
    DUE = "due"
    INDICATOR = "indicator"
    FAILURE = "failure"
    EARLY = "early"
    OPPORTUNITY = "opportunity"
    MISTAKE = "mistake"
    UNKNOWN = "unknown"


class EventKind(StrEnum):
    PUMP_FAILURE = "pump_failure"
    HOSE_BURST = "hose_burst"
    OPENED = "opened"
    REPAIR = "repair"
    FLUSHED = "flushed"
    OIL_CHANGE = "oil_change"
    CHANGEOVER = "changeover"
    COMMISSIONED = "commissioned"
    OVERHEATED = "overheated"
    WATER_INGRESS = "water_ingress"


class SamplePoint(StrEnum):
    RESERVOIR = "reservoir"
    UPSTREAM = "upstream"
    DOWNSTREAM = "downstream"


class DisplayUnits(StrEnum):
    METRIC = "metric"
    US = "us"


class Trigger(StrEnum):
    """A reason that makes a position due."""

    HOURS = "hours"
    AGE = "age"
    PRESSURE = "pressure"
    LIFE = "life"
    CLEANLINESS = "cleanliness"
    INDICATOR = "indicator"
    EVENT = "event"


class Movement(StrEnum):
    """What became of a position's due date since it was last told."""

    NEW = "new"
    EARLIER = "earlier"
    LATER = "later"
    OTHER_TRIGGER = "other_trigger"  # about the same date for another reason
    DONE = "done"  # another element is fitted since
    UNDATED = "undated"  # nothing is known to be fitted any more
    LEFT = "left"  # the position is no longer in service


class Severity(StrEnum):
    """How soon a person should look."""

    NOTE = "note"
    SOON = "soon"
    NOW = "now"


class WorkOrderState(StrEnum):
    DRAFT = "draft"
    ISSUED = "issued"
    UNDERWAY = "underway"
    DONE = "done"
    HELD = "held"
    WITHDRAWN = "withdrawn"


class Found(StrEnum):
    """What a job found in housing, bowl or oil. Metal without its kind is a kind that nobody could tell."""

    CLEAN = "clean"
    SILT = "silt"
    METAL = "metal"
    METAL_STEEL = "metal_steel"
    METAL_BRONZE = "metal_bronze"  # or brass
    METAL_ALUMINIUM = "metal_aluminium"
    FIBRES = "fibres"
    SEAL_DEBRIS = "seal_debris"
    VARNISH = "varnish"
    WATER = "water"
    COLLAPSED = "collapsed"
    BYPASSED = "bypassed"
    WRONG_PART = "wrong_part"
    DUST = "dust"  # in or on a breather
    DESICCANT_TURNED = "desiccant_turned"
    OIL = "oil"  # carried up into a breather


class OrderStep(StrEnum):
    """What happens to a work order or to one of its tasks."""

    RAISED = "raised"
    MOVED = "moved"  # to another day or stop
    ISSUED = "issued"
    STARTED = "started"
    HELD = "held"
    RELEASED = "released"
    ACKNOWLEDGED = "acknowledged"  # taken over by another system
    GIVEN_BACK = "given_back"
    KIT_RESERVED = "kit_reserved"
    KIT_RELEASED = "kit_released"
    PROPOSAL_ACCEPTED = "proposal_accepted"
    TASK_DONE = "task_done"
    TASK_NOT_DONE = "task_not_done"
    TASK_OPEN_AGAIN = "task_open_again"  # its close-out was taken back
    DONE = "done"
    WITHDRAWN = "withdrawn"


class TaskKind(StrEnum):
    CHANGE_ELEMENT = "change_element"
    SERVICE_STRAINER = "service_strainer"
    CHANGE_BREATHER = "change_breather"
    INSPECT = "inspect"
    LOOK_WHEN_WARM = "look_when_warm"
    TAKE_SAMPLE = "take_sample"
    CHECK_LEVEL = "check_level"
    TOP_UP = "top_up"
    CLEAN_UP = "clean_up"  # with an off-line filter beside the machine
    CHECK_AFTER_EVENT = "check_after_event"
    FLUSH = "flush"  # at commissioning


class CheckVerdict(StrEnum):
    """What a check before the job comes to; `overridden` is a refusal that somebody who may has set aside."""

    AS_SPECIFIED = "as_specified"
    ASK = "ask"
    REFUSED = "refused"
    OVERRIDDEN = "overridden"


class EvidenceKind(StrEnum):
    """What a file that is attached to a close-out is: media types (IANA)."""

    JPEG = "image/jpeg"
    PNG = "image/png"
    PDF = "application/pdf"


class FeedType(StrEnum):
    """What a line of the feed tells: each carries the whole picture of its subject as it then stood."""

    WORK_ORDER_CHANGED = "work_order.changed"
    SHORTAGE_CHANGED = "shortage.changed"
    DUE_CHANGED = "due.changed"
    DUE_DRIFTED = "due.drifted"  # moved with time alone: no news to a person
    DIAGNOSIS_RAISED = "diagnosis.raised"
    DIAGNOSIS_CHANGED = "diagnosis.changed"
    DIAGNOSIS_CLEARED = "diagnosis.cleared"
    CLOSE_OUT_RECORDED = "close_out.recorded"
    CLOSE_OUT_CORRECTED = "close_out.corrected"
    CLOSE_OUT_UNDONE = "close_out.undone"


class DeliveryState(StrEnum):
    """Of one line for one webhook. A dead one is sent again only when somebody asks for it."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    DEAD = "dead"


class Scope(StrEnum):
    """What a key may do. `administer` implies every other scope but `override`, which nothing implies."""

    READ = "read"
    INTEGRATE = "integrate"
    PLAN = "plan"
    WORK = "work"
    STOCK = "stock"
    OVERRIDE = "override"
    ADMINISTER = "administer"
