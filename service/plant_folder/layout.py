"""The plant folder's tables as data: the one place where a column's name, kind, unit and bounds stand.

The reader takes its checks from here, `tables` builds the database tables from here, and the writer its
headers. A new column is a line here and a migration.
"""

from dataclasses import dataclass
from enum import StrEnum

from scheduler import vocabulary as words
from scheduler.vocabulary import FIELD_SUFFIX, QuantityKind


@dataclass(frozen=True, slots=True)
class Text:
    """Trimmed text; a code when it is a key or refers to one."""


@dataclass(frozen=True, slots=True)
class Choice:
    options: type[StrEnum]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number whose unit stands in the header's square brackets; bounds are in the canonical unit."""

    kind: QuantityKind
    minimum: float | None = 0.0
    maximum: float | None = None
    above_minimum: bool = False


@dataclass(frozen=True, slots=True)
class Pieces:
    """A whole number of things."""

    minimum: int = 0
    maximum: int | None = None


@dataclass(frozen=True, slots=True)
class Number:
    """A plain number that is a count, hours or a share by definition."""

    minimum: float = 0.0
    maximum: float | None = None


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in the row's `currency` (else the plant's), kept in minor units."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A date or a time; kept in UTC with a mark where only the date is known."""


@dataclass(frozen=True, slots=True)
class WordList:
    """Several words in one cell; of `words` only, where they are given."""

    words: type[StrEnum] | None = None


@dataclass(frozen=True, slots=True)
class CleanlinessCode:
    """An ISO 4406 code such as 18/16/13."""

    sample: bool = False  # a sample may say `-/16/13` and `≥`, a target may not


@dataclass(frozen=True, slots=True)
class TimeZoneName:
    """An IANA time zone."""


Cell = Text | Choice | Quantity | Pieces | Number | Money | Moment | WordList | CleanlinessCode | TimeZoneName


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `refers_to` names the table whose key the cell must be; `any_part` is either part table.

    An empty cell of a key column stands for `empty_means`.
    """

    name: str
    cell: Cell
    required: bool = False
    key: bool = False
    refers_to: str | None = None
    empty_means: str = ""

    @property
    def field(self) -> str:
        """The name inside, with its unit: `dp [bar]` is `dp_bar`, `price` is `price_minor`."""
        match self.cell:
            case Quantity(kind=kind):
                named = kind is QuantityKind.RUN_TIME and self.name.endswith("hours")
                return self.name if named else self.name + FIELD_SUFFIX[kind]
            case Money():
                return f"{self.name}_minor"
            case _:
                return self.name


class RowRule(StrEnum):
    AT_LEAST_ONE = "at_least_one"
    EXACTLY_ONE = "exactly_one"
    TOGETHER = "together"
    NOT_WITHOUT_FIRST = "not_without_first"


@dataclass(frozen=True, slots=True)
class Rule:
    """What must hold between the columns of one row."""

    holds: RowRule
    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableLayout:
    """A table. A fact has versions and `recorded_at`; master data is updated in place.

    Without a `recorded_at`, a fact counts as known at the first of its `known_by` moments that it has.
    """

    name: str
    columns: tuple[Column, ...]
    is_fact: bool
    rules: tuple[Rule, ...] = ()
    known_by: tuple[str, ...] = ("at",)

    @property
    def key(self) -> tuple[Column, ...]:
        return tuple(column for column in self.columns if column.key)

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


def _key(
    name: str,
    cell: Cell | None = None,
    *,
    to: str | None = None,
    required: bool = True,
    empty_means: str = "",
) -> Column:
    return Column(name, cell or Text(), required, key=True, refers_to=to, empty_means=empty_means)


def _must(name: str, cell: Cell | None = None, *, to: str | None = None) -> Column:
    return Column(name, cell or Text(), required=True, refers_to=to)


def _may(name: str, cell: Cell | None = None, *, to: str | None = None) -> Column:
    return Column(name, cell or Text(), refers_to=to)


_HIGHEST_DP_BAR = 1000.0
"""Ours: no element, valve or indicator of a filter has a limit near it. A larger number is in another unit."""

_HIGHEST_GAUGE_BAR = 10_000.0
"""Ours: beyond any hydraulic machine."""

_DP = Quantity(QuantityKind.PRESSURE_DIFFERENCE, maximum=_HIGHEST_DP_BAR)
_DP_ABOVE_ZERO = Quantity(QuantityKind.PRESSURE_DIFFERENCE, maximum=_HIGHEST_DP_BAR, above_minimum=True)
_GAUGE = Quantity(QuantityKind.GAUGE_PRESSURE, minimum=-1.0, maximum=_HIGHEST_GAUGE_BAR)
_VACUUM = Quantity(QuantityKind.VACUUM, maximum=1.01325)
_VACUUM_ABOVE_ZERO = Quantity(QuantityKind.VACUUM, maximum=1.01325, above_minimum=True)
_FLOW = Quantity(QuantityKind.FLOW)
_FLOW_ABOVE_ZERO = Quantity(QuantityKind.FLOW, above_minimum=True)
_VOLUME = Quantity(QuantityKind.VOLUME)
_VOLUME_ABOVE_ZERO = Quantity(QuantityKind.VOLUME, above_minimum=True)
_TEMPERATURE = Quantity(QuantityKind.TEMPERATURE, minimum=-60.0, maximum=250.0)
_VISCOSITY = Quantity(QuantityKind.KINEMATIC_VISCOSITY, above_minimum=True)
_HOURS = Quantity(QuantityKind.RUN_TIME)
_HOURS_ABOVE_ZERO = Quantity(QuantityKind.RUN_TIME, above_minimum=True)
_DAYS = Quantity(QuantityKind.DURATION)
_DAYS_ABOVE_ZERO = Quantity(QuantityKind.DURATION, above_minimum=True)
_YES_NO = Choice(words.YesNo)

PLANTS = TableLayout(
    "plants",
    (
        _key("plant"),
        _may("name"),
        _must("time_zone", TimeZoneName()),
        _may("currency"),
        _may("display_units", Choice(words.DisplayUnits)),
        _may("altitude", Quantity(QuantityKind.HEIGHT, minimum=-500.0, maximum=9000.0)),
        _may("risk", Number(maximum=1.0)),
        _may("horizon", _DAYS_ABOVE_ZERO),
        _may("issue_ahead", _DAYS),
    ),
    is_fact=False,
)

FLUIDS = TableLayout(
    "fluids",
    (
        _key("fluid"),
        _may("name"),
        _may("family", Choice(words.FluidFamily)),
        _may("grade", Pieces(minimum=1)),
        _may("viscosity_40", _VISCOSITY),
        _may("viscosity_100", _VISCOSITY),
        _may("viscosity_index", Number(minimum=-200.0, maximum=600.0)),
        _may("density_15", Quantity(QuantityKind.DENSITY, minimum=500.0, maximum=2500.0)),
        _may("water_saturation_20", Quantity(QuantityKind.WATER_CONTENT, maximum=1e6, above_minimum=True)),
    ),
    is_fact=False,
    rules=(Rule(RowRule.AT_LEAST_ONE, ("viscosity_40", "grade")),),
)

SYSTEMS = TableLayout(
    "systems",
    (
        _key("system"),
        _must("plant", to="plants"),
        _may("name"),
        _may("status", Choice(words.Status)),
        _must("fluid", to="fluids"),
        _must("reservoir_volume", _VOLUME_ABOVE_ZERO),
        _may("pump_flow", _FLOW_ABOVE_ZERO),
        _may("working_pressure", Quantity(QuantityKind.GAUGE_PRESSURE, maximum=_HIGHEST_GAUGE_BAR)),
        _may("working_temperature", _TEMPERATURE),
        _may("coldest_start", _TEMPERATURE),
        _may("cleanliness_target", CleanlinessCode()),
        _may("most_sensitive"),
        _may("hours_per_week", Number(maximum=168.0)),
        _may("stop_cost", Money()),
        _may("labour_cost", Money()),
        _may("late_cost", Money()),
        _may("hazards", WordList()),
        _may("isolation_procedure"),
        _may("permits"),
        _may("level_position"),
        _may("walking_order", Pieces()),
    ),
    is_fact=False,
)

METERS = TableLayout(
    "meters",
    (_key("system", to="systems"), _key("meter", required=False), _may("digits", Pieces(minimum=1, maximum=9))),
    is_fact=False,
)

ELEMENT_TYPES = TableLayout(
    "element_types",
    (
        _key("part_number"),
        _must("kind", Choice(words.ElementKind)),
        _may("description"),
        _may("media"),
        _may("clean_dp", _DP_ABOVE_ZERO),
        _may("rated_flow", _FLOW_ABOVE_ZERO),
        _may("rated_viscosity", _VISCOSITY),
        _may("rating", Quantity(QuantityKind.PARTICLE_SIZE, above_minimum=True)),
        _may("beta"),
        _may("capacity", Quantity(QuantityKind.MASS, above_minimum=True)),
        _may("capacity_dp", _DP_ABOVE_ZERO),
        _may("collapse_dp", _DP_ABOVE_ZERO),
        _may("cleanable", _YES_NO),
        _may("max_cleanings", Pieces()),
        _may("seals"),
        _may("seal_kit", to="parts"),
        _may("price", Money()),
        _may("currency"),
        _may("lead_time", _DAYS),
        _may("shelf_life", _DAYS_ABOVE_ZERO),
        _may("pack", Pieces(minimum=1)),
    ),
    is_fact=False,
)

ELEMENT_CURVES = TableLayout(
    "element_curves",
    (
        _key("part_number", to="element_types"),
        _key("retained", Quantity(QuantityKind.MASS)),
        _must("dp", _DP_ABOVE_ZERO),
    ),
    is_fact=False,
)

PARTS = TableLayout(
    "parts",
    (
        _key("part_number"),
        _must("kind", Choice(words.PartKind)),
        _may("description"),
        _may("price", Money()),
        _may("currency"),
        _may("lead_time", _DAYS),
        _may("shelf_life", _DAYS_ABOVE_ZERO),
        _may("pack", Pieces(minimum=1)),
    ),
    is_fact=False,
)

POSITIONS = TableLayout(
    "positions",
    (
        _key("position"),
        _must("system", to="systems"),
        _must("place", Choice(words.Place)),
        _must("part_number", to="element_types"),
        _may("quantity", Pieces(minimum=1)),
        _may("housing"),
        _may("side"),
        _may("meter"),
        _may("flow", _FLOW_ABOVE_ZERO),
        _may("terminal_dp", _DP_ABOVE_ZERO),
        _may("indicator_dp", _DP_ABOVE_ZERO),
        _may("indicator_kind", Choice(words.IndicatorKind)),
        _may("bypass", Choice(words.Answer)),
        _may("bypass_dp", _DP_ABOVE_ZERO),
        _may("housing_dp", _DP),
        _may("vacuum_limit", _VACUUM_ABOVE_ZERO),
        _may("inlet_head", Quantity(QuantityKind.HEIGHT, minimum=-20.0, maximum=20.0)),
        _may("shut_at_start", _YES_NO),
        _may("max_hours", _HOURS_ABOVE_ZERO),
        _may("max_age", _DAYS_ABOVE_ZERO),
        _may("access", Choice(words.Access)),
        _may("housing_volume", _VOLUME),
        _may("torque", Quantity(QuantityKind.TORQUE)),
        _may("test_point"),
        _may("status", Choice(words.Status)),
    ),
    is_fact=False,
)

KIT_LINES = TableLayout(
    "kit_lines",
    (
        _key("position", to="positions"),
        _key("part_number", to="any_part"),
        _must("quantity", Pieces(minimum=1)),
    ),
    is_fact=False,
)

ALTERNATES = TableLayout(
    "alternates",
    (
        _key("part_number", to="any_part"),
        _key("alternate", to="any_part"),
        _may("rank", Pieces(minimum=1)),
        _may("note"),
    ),
    is_fact=False,
)

INSTALLATIONS = TableLayout(
    "installations",
    (
        _key("position", to="positions"),
        _key("fitted_at", Moment()),
        _must("part_number", to="element_types"),
        _may("fitted_hours", _HOURS),
        _may("removed_at", Moment()),
        _may("removed_hours", _HOURS),
        _may("reason", Choice(words.RemovalReason)),
        _may("lot"),
        _may("serial"),
        _may("cleanings", Pieces()),
        _may("condition"),
    ),
    is_fact=True,
    known_by=("removed_at", "fitted_at"),
    rules=(Rule(RowRule.NOT_WITHOUT_FIRST, ("removed_at", "removed_hours", "reason")),),
)

METER_READINGS = TableLayout(
    "meter_readings",
    (
        _key("system", to="systems"),
        _key("meter", required=False),
        _key("at", Moment()),
        _key("kind", Choice(words.MeterReadingKind), required=False, empty_means="reading"),
        _must("hours", _HOURS),
    ),
    is_fact=True,
)

DP_READINGS = TableLayout(
    "dp_readings",
    (
        _key("position", to="positions"),
        _key("at", Moment()),
        _key("stage", Choice(words.Stage), required=False),
        _may("dp", _DP),
        _may("upstream", _GAUGE),
        _may("downstream", _GAUGE),
        _may("vacuum", _VACUUM),
        _may("flow", _FLOW),
        _may("oil_temperature", _TEMPERATURE),
        _may("indicator", Choice(words.IndicatorState)),
    ),
    is_fact=True,
    rules=(
        Rule(RowRule.TOGETHER, ("upstream", "downstream")),
        Rule(RowRule.AT_LEAST_ONE, ("dp", "upstream", "vacuum", "indicator")),
    ),
)

_COUNT = Quantity(QuantityKind.PARTICLE_COUNT)

OIL_SAMPLES = TableLayout(
    "oil_samples",
    (
        _key("system", to="systems"),
        _key("at", Moment()),
        _key("point", Choice(words.SamplePoint), required=False, empty_means="reservoir"),
        _key("position", to="positions", required=False),
        _may("code", CleanlinessCode(sample=True)),
        _may("count_4", _COUNT),
        _may("count_6", _COUNT),
        _may("count_14", _COUNT),
        _may("water", Quantity(QuantityKind.WATER_CONTENT)),
        _may("water_saturation", Quantity(QuantityKind.PERCENTAGE, maximum=100.0)),
        _may("viscosity_40", _VISCOSITY),
    ),
    is_fact=True,
    rules=(
        Rule(
            RowRule.AT_LEAST_ONE,
            ("code", "count_4", "count_6", "count_14", "water", "water_saturation", "viscosity_40"),
        ),
    ),
)

EVENTS = TableLayout(
    "events",
    (
        _key("system", to="systems"),
        _key("at", Moment()),
        _key("kind", Choice(words.EventKind)),
        _key("position", to="positions", required=False),
        _may("note"),
    ),
    is_fact=True,
)

FINDINGS = TableLayout(
    "findings",
    (
        _key("system", to="systems"),
        _key("at", Moment()),
        _key("position", to="positions", required=False),
        _must("found", WordList(words.Found)),
        _may("note"),
    ),
    is_fact=True,
)

LEVEL_CHECKS = TableLayout(
    "level_checks",
    (
        _key("system", to="systems"),
        _key("at", Moment()),
        _may("level", Quantity(QuantityKind.PERCENTAGE, maximum=150.0)),
        _may("volume_below_full", Quantity(QuantityKind.VOLUME, minimum=None)),
        _must("at_rest", _YES_NO),
        _must("defined_position", _YES_NO),
    ),
    is_fact=True,
    rules=(Rule(RowRule.AT_LEAST_ONE, ("level", "volume_below_full")),),
)

TOP_UPS = TableLayout(
    "top_ups",
    (
        _key("system", to="systems"),
        _key("at", Moment()),
        _key("fluid", to="fluids"),
        _must("volume", _VOLUME_ABOVE_ZERO),
        _may("through_filter", _YES_NO),
        _may("lot"),
    ),
    is_fact=True,
)

STOCK = TableLayout(
    "stock",
    (
        _key("part_number", to="any_part"),
        _key("store"),
        _key("lot", required=False),
        _must("on_hand", Pieces()),
        _must("counted_at", Moment()),
        _may("bin"),
        _may("expires_at", Moment()),
    ),
    is_fact=True,
    known_by=("counted_at",),
)

OIL_STOCK = TableLayout(
    "oil_stock",
    (
        _key("fluid", to="fluids"),
        _key("store"),
        _key("lot", required=False),
        _key("container", _VOLUME_ABOVE_ZERO),
        _must("on_hand", Number()),
        _must("counted_at", Moment()),
        _may("opened_at", Moment()),
        _may("expires_at", Moment()),
    ),
    is_fact=True,
    known_by=("counted_at",),
)

SUPPLY = TableLayout(
    "supply",
    (
        _key("order"),
        _key("line"),
        _may("part_number", to="any_part"),
        _may("fluid", to="fluids"),
        _must("quantity", Number()),
        _must("expected_at", Moment()),
        _may("received_at", Moment()),
    ),
    is_fact=True,
    known_by=("received_at",),
    rules=(Rule(RowRule.EXACTLY_ONE, ("part_number", "fluid")),),
)

STOPS = TableLayout(
    "stops",
    (
        _key("plant", to="plants", required=False),
        _key("system", to="systems", required=False),
        _key("starts_at", Moment()),
        _must("ends_at", Moment()),
        _may("note"),
    ),
    is_fact=False,
    rules=(Rule(RowRule.EXACTLY_ONE, ("plant", "system")),),
)

TABLES: tuple[TableLayout, ...] = (
    *(PLANTS, FLUIDS, SYSTEMS, METERS, PARTS, ELEMENT_TYPES, ELEMENT_CURVES, POSITIONS, KIT_LINES),
    *(ALTERNATES, INSTALLATIONS, METER_READINGS, DP_READINGS, OIL_SAMPLES, EVENTS, FINDINGS, LEVEL_CHECKS),
    *(TOP_UPS, STOCK, OIL_STOCK, SUPPLY, STOPS),
)
"""Every table, each after the tables it refers to."""

TABLE: dict[str, TableLayout] = {table.name: table for table in TABLES}
DATA_MISSING_NOTE = "x_data_missing"
"""Marks a row that the service added because it was really fitted or poured: it may lack what is asked of others."""
COMMON_COLUMNS = (_may("external_ref"),)
RECORDED_AT = _may("recorded_at", Moment())
