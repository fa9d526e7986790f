"""What must hold between the cells of one row, beyond each cell by itself."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from scheduler.vocabulary import Hazard, PartKind
from service.plant_folder.cell_writing import in_zone
from service.plant_folder.fluid_checks import fluid_trouble
from service.plant_folder.layout import RowRule, Rule
from service.plant_folder.nearest import nearest
from service.plant_folder.register import Register

CONCERNED_TABLES = frozenset(
    {
        *("fluids", "systems", "element_types", "parts", "positions", "alternates"),
        *("installations", "oil_samples", "events", "stops"),
    }
)
"""The tables of which `concerns` says anything."""

_NOON_TO_MIDNIGHT = timedelta(hours=13)  # at most: the day that the clocks go back has 25 hours


class Concern(NamedTuple):
    """Something about the cells of `columns`; a remark where it is accepted all the same."""

    columns: tuple[str, ...]
    says: str
    is_remark: bool = False


def rule_concern(rule: Rule, filled: set[str]) -> Concern | None:
    """What is wrong with a row in which the `filled` columns have a cell, or None."""
    given = [name for name in rule.columns if name in filled]
    listed = ", ".join(rule.columns)
    match rule.holds:
        case RowRule.AT_LEAST_ONE if not given:
            return Concern(rule.columns, f"at least one of {listed} must be given")
        case RowRule.EXACTLY_ONE if len(given) != 1:
            told = f"{' and '.join(given)} are given" if given else "none is given"
            return Concern(rule.columns, f"exactly one of {listed} must be given; {told}")
        case RowRule.TOGETHER if 0 < len(given) < len(rule.columns):
            missing = [name for name in rule.columns if name not in filled]
            return Concern(rule.columns, f"{listed} belong together; {', '.join(missing)} is empty")
        case RowRule.NOT_WITHOUT_FIRST if given and rule.columns[0] not in filled:
            verb = "is" if len(given) == 1 else "are"
            return Concern(rule.columns, f"{' and '.join(given)} {verb} given, but {rule.columns[0]} is empty")
    return None


def begins_before_it_ends(begins: datetime, begins_is_date: bool, ends: datetime, ends_is_date: bool) -> bool:
    """Whether `begins` may lie at or before `ends`; a bare date, kept as its noon, may be any time of its day.

    >>> noon, morning = datetime(2026, 3, 5, 12), datetime(2026, 3, 5, 8)
    >>> begins_before_it_ends(noon, True, morning, False), begins_before_it_ends(noon, False, morning, False)
    (True, False)
    """
    slack = _NOON_TO_MIDNIGHT if begins_is_date != ends_is_date else timedelta(0)
    return begins <= ends + slack


def concerns(table: str, values: Mapping[str, object], register: Register) -> Iterator[Concern]:
    """What the trade says of a row of `table`; `values` are its canonical cells."""
    match table:
        case "fluids":
            trouble = fluid_trouble(values)
            if trouble is not None:
                yield Concern(*trouble)
        case "installations":
            yield from _order_of_life(values, register)
        case "stops":
            yield from _order_of_stop(values, register)
        case "alternates":
            alternate = values.get("alternate")
            if alternate is not None and alternate == values.get("part_number"):
                yield Concern(("alternate",), f"'{alternate}' is given as an alternate of itself")
        case "oil_samples":
            yield from _counts_that_rise(values)
            yield from _position_of_another_system(values, register)
        case "events":
            yield from _position_of_another_system(values, register)
        case "positions":
            yield from _indicator_against_bypass(values)
        case "systems":
            yield from _hazards_in_own_words(values)
        case "element_types" | "parts":
            yield from _part_kinds(table, values, register)


def _order_of_life(values: Mapping[str, object], register: Register) -> Iterator[Concern]:
    fitted, removed = values.get("fitted_at"), values.get("removed_at")
    if isinstance(fitted, datetime) and isinstance(removed, datetime):
        fitted_is_date, removed_is_date = values["fitted_at_is_date"], values["removed_at_is_date"]
        if not begins_before_it_ends(fitted, fitted_is_date is True, removed, removed_is_date is True):
            removed_at, fitted_at = (_local(name, values, register) for name in ("removed_at", "fitted_at"))
            yield Concern(("removed_at",), f"removed_at {removed_at} is before fitted_at {fitted_at}")


def _order_of_stop(values: Mapping[str, object], register: Register) -> Iterator[Concern]:
    starts, ends = values.get("starts_at"), values.get("ends_at")
    if isinstance(starts, datetime) and isinstance(ends, datetime) and ends <= starts:
        ends_at, starts_at = (_local(name, values, register) for name in ("ends_at", "starts_at"))
        says = f"ends_at {ends_at} is not after starts_at {starts_at} (a bare date is 12:00 plant time)"
        yield Concern(("ends_at",), says)


def _local(name: str, values: Mapping[str, object], register: Register) -> str:
    """The moment `name` in the zone of the row's plant."""
    at = values[name]
    where = {kind: str(values.get(kind, "")) for kind in ("position", "system", "plant")}
    local = in_zone(at, register.terms(where).zone) if isinstance(at, datetime) else ""
    return local[:10] if values[f"{name}_is_date"] is True else local


def _counts_that_rise(values: Mapping[str, object]) -> Iterator[Concern]:
    """Particle counts are cumulative: those from 4 µm(c) include those from 6 and 14 µm(c) (ISO 4406:2021)."""
    counted = [
        (name, count)
        for name in ("count_4", "count_6", "count_14")
        if isinstance(count := values.get(f"{name}_per_mL"), float)
    ]
    for (smaller, more), (larger, fewer) in pairwise(counted):
        if fewer > more:
            says = f"{larger} of {fewer:g} per mL is above {smaller} of {more:g}"
            yield Concern((smaller, larger), f"{says}; each count includes all larger particles")


def _position_of_another_system(values: Mapping[str, object], register: Register) -> Iterator[Concern]:
    """A remark: a position may have been given to another system after the fact was recorded."""
    position, system = values.get("position"), values.get("system")
    if isinstance(position, str) and isinstance(system, str):
        own = register.system_of_position(position)
        if own is not None and own != system:
            says = f"'{position}' is a position of '{own}', not of '{system}'; kept as given"
            yield Concern(("position",), says, is_remark=True)


def _indicator_against_bypass(values: Mapping[str, object]) -> Iterator[Concern]:
    indicator_bar, bypass_bar = values.get("indicator_dp_bar"), values.get("bypass_dp_bar")
    if isinstance(indicator_bar, float) and isinstance(bypass_bar, float) and indicator_bar >= bypass_bar:
        yield Concern(
            ("indicator_dp",),
            f"the indicator trips at {indicator_bar:g} bar, the bypass cracks already at {bypass_bar:g} bar:"
            " an indicator is set below its bypass; kept as given",
            is_remark=True,
        )


def _hazards_in_own_words(values: Mapping[str, object]) -> Iterator[Concern]:
    hazards = values.get("hazards")
    known = [hazard.value for hazard in Hazard]
    for hazard in hazards if isinstance(hazards, list) else []:
        near = None if hazard in known else nearest(hazard, known)
        if near:
            says = f"'{hazard}' is kept as the plant's own word, without the cautions of '{near}'"
            yield Concern(("hazards",), says, is_remark=True)


def _part_kinds(table: str, values: Mapping[str, object], register: Register) -> Iterator[Concern]:
    part_number = str(values.get("part_number", ""))
    other = "parts" if table == "element_types" else "element_types"
    if part_number in (register.codes(other) or ()):
        kind = register.kind_of_part(part_number) or "element type"
        says = f"'{part_number}' is already in {other} ({kind.replace('_', ' ')}): part numbers are one name space"
        yield Concern(("part_number",), says)
    kit = values.get("seal_kit")
    kit_kind = register.kind_of_part(kit) if isinstance(kit, str) else None
    if kit_kind is not None and kit_kind != PartKind.SEAL_KIT:
        says = f"'{kit}' is a {kit_kind.replace('_', ' ')} in parts, not a seal kit; kept as given"
        yield Concern(("seal_kit",), says, is_remark=True)
