"""ΔP readings made comparable: what was read across the element, restated to the position's warm state, and gated."""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.gauge_step import gauge_steps_bar
from scheduler.engineering.pressure_drop import (
    NormalisedDp,
    USUAL_WARM_TEMPERATURE_degC,
    WarmState,
    clean_element_dp_bar,
    normalised_dp,
)
from scheduler.engineering.reading_gate import Gate, gate_readings
from scheduler.engineering.suction import rise_above_clean_bar, vacuum_limit_bar
from scheduler.engineering.terminal_dp import (
    TerminalRule,
    assembly_terminal_dp_bar,
    cold_start_terminal_bar,
    terminal_element_dp_bar,
)
from scheduler.engineering.viscosity import viscosity_at
from scheduler.planning.elements import Elements, finished_elements, fitted_elements
from scheduler.planning.plant_columns import DpReadings, Flags, Floats, Ints, PlantColumns
from scheduler.vocabulary import Stage

USUAL_GAUGE_STEP_BAR = 0.05
USUAL_VACUUM_STEP_BAR = 0.01
"""Where too few readings tell the gauge's own step (ours)."""


WORKING_TEMPERATURE_COUNTS = 3
"""A position's warm state is the median of its readings' temperatures, among which the system's working temperature
counts as this many: two readings, both taken at a cold start, are no warm state (ours)."""

USUAL_CLEAN_SHARE = 1 / 4
"""Without a sheet: a clean assembly takes half the bypass setting at most, a third is better (published handbook),
so about a quarter of the terminal ΔP."""

ROOM_ABOVE_CLEAN = 1.5
"""A terminal ΔP has to leave half as much again as the clean element takes, or every element is spent (ours)."""

CLEAN_READINGS = 5
CLEAN_VISCOSITY_RATIO = 1.5
"""A strainer's own clean vacuum is taken from its first five readings with oil near its working viscosity (ours)."""


@dataclass(frozen=True, slots=True)
class Instruments:
    """Of each position (P,): its warm state and the step of its gauge, from all that was ever read there."""

    warm: WarmState
    step_bar: Floats


@dataclass(frozen=True, slots=True)
class ComparableReadings:
    """Readings (N,) restated and gated, with each element's (E,) gauge step, clean and terminal ΔP.

    `clean_bar` and `terminal_bar` are the element's part; NaN where unknown. `rule` is a `TerminalRule`.
    """

    reading: NormalisedDp
    dp_bar: Floats
    gate: Ints
    step_bar: Floats
    clean_bar: Floats
    terminal_bar: Floats
    rule: Ints


def stated_limits(columns: PlantColumns) -> tuple[Floats, Floats, Floats]:
    """Terminal, indicator and bypass ΔP across the assembly, as the plant states them."""
    positions = columns.positions
    return positions.terminal_dp_bar, positions.indicator_dp_bar, positions.bypass_dp_bar


def instruments(columns: PlantColumns) -> Instruments:
    """Warm states and gauge steps of the positions."""
    ever = (finished_elements(columns), fitted_elements(columns))
    owner = np.concatenate([each.position[each.of_readings()] for each in ever])
    order = np.argsort(owner, kind="stable")
    by_vacuum = columns.by_vacuum()
    read = np.concatenate([_shown_bar(each.dp, by_vacuum[each.position[each.of_readings()]]) for each in ever])
    offsets = np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=len(by_vacuum)))])
    step = gauge_steps_bar(read[order], offsets)
    usual = np.where(by_vacuum, USUAL_VACUUM_STEP_BAR, USUAL_GAUGE_STEP_BAR)
    return Instruments(
        warm=_warm_state(
            columns,
            owner,
            flow_lpm=np.concatenate([each.dp.flow_lpm for each in ever]),
            temperature_degC=np.concatenate([each.dp.oil_temperature_degC for each in ever]),
        ),
        step_bar=np.where(np.isnan(step), usual, step),
    )


def comparable_readings(columns: PlantColumns, elements: Elements, using: Instruments) -> ComparableReadings:
    """Every reading of these elements, each restated to its position's warm state."""
    dp, positions, owner = elements.dp, columns.positions, elements.of_readings()
    place = elements.position[owner]
    by_vacuum = columns.by_vacuum()[elements.position]
    warm = using.warm.of_readings(elements.position)
    step = using.step_bar[elements.position]
    sheet = _clean_by_sheet(columns, elements, warm)
    of_another_life = _of_another_life(elements, owner)
    clean_vacuum = _clean_vacuum_bar(elements, by_vacuum, warm, of_another_life)
    strainer_clean = np.where(np.isnan(sheet), 0.5 * clean_vacuum, sheet)
    read = _difference_bar(dp)
    rise = rise_above_clean_bar(dp.vacuum_bar, clean_vacuum[owner])
    vacuum_dp = np.maximum(rise + strainer_clean[owner], 0.0)  # less than clean is scatter, not a mistake
    read = np.where(np.isnan(read) & by_vacuum[owner], vacuum_dp, read)
    reading = normalised_dp(read, dp.flow_lpm, dp.oil_temperature_degC, using.warm.of_readings(place))
    gate = gate_readings(
        read,
        dp.flow_lpm,
        reading,
        gauge_step_bar=step[owner],
        bypass_dp_bar=positions.bypass_dp_bar[place],
        is_change_day=of_another_life,
    )
    gate[of_another_life] = Gate.CHANGE_DAY  # an indicator sighting without a ΔP too
    terminal, rule = _terminal(columns, elements, warm, sheet)
    terminal = _inlet_terminal(columns, elements, terminal, rule, by_vacuum, clean_vacuum, strainer_clean)
    clean = np.where(by_vacuum & ~np.isnan(clean_vacuum), strainer_clean, sheet)
    return ComparableReadings(reading, read, gate.astype(np.intp), step, clean, terminal, rule)


def _difference_bar(dp: DpReadings) -> Floats:
    return np.where(np.isnan(dp.dp_bar), dp.upstream_bar - dp.downstream_bar, dp.dp_bar)


def _shown_bar(dp: DpReadings, by_vacuum: Flags) -> Floats:
    """What the gauge showed, which tells its step: a vacuum as a vacuum."""
    difference = _difference_bar(dp)
    return np.where(np.isnan(difference) & by_vacuum, dp.vacuum_bar, difference)


def _warm_state(columns: PlantColumns, owner: Ints, flow_lpm: Floats, temperature_degC: Floats) -> WarmState:
    positions, systems = columns.positions, columns.systems
    moving = np.where(flow_lpm > 0.0, flow_lpm, np.nan)
    stated_temperature = systems.working_temperature_degC[positions.system]
    usual = np.where(np.isnan(stated_temperature), USUAL_WARM_TEMPERATURE_degC, stated_temperature)
    believed = np.repeat(np.arange(len(usual)), WORKING_TEMPERATURE_COUNTS)
    median_temperature = _median_per(
        np.concatenate([owner, believed]),
        np.concatenate([temperature_degC, usual[believed]]),
        len(usual),
    )
    median_flow = _median_per(owner, moving, len(usual))
    oils = [systems.oil[system] for system in positions.system]
    return WarmState(
        flow_lpm=np.where(np.isnan(positions.flow_lpm), median_flow, positions.flow_lpm),
        oil_temperature_degC=median_temperature,
        housing_dp_bar=positions.housing_dp_bar,
        walther_a=np.array([oil.walther_a for oil in oils]),
        walther_b=np.array([oil.walther_b for oil in oils]),
        density_15_kg_m3=np.array([oil.density_15_kg_m3 for oil in oils]),
        viscosity_slope_sd=np.array([oil.viscosity_slope_sd for oil in oils]),
    )


def _median_per(owner: Ints, values: Floats, positions: int) -> Floats:
    known = ~np.isnan(values)
    order = np.lexsort((values[known], owner[known]))
    ordered = values[known][order]
    count = np.bincount(owner[known], minlength=positions)
    start = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.intp)
    has = count > 0
    median = np.full(positions, np.nan)
    low, high = start + (count - 1) // 2, start + count // 2
    median[has] = 0.5 * (ordered[low[has]] + ordered[high[has]])
    return median


def _clean_by_sheet(columns: PlantColumns, elements: Elements, warm: WarmState) -> Floats:
    kind, types = elements.type, columns.types
    return clean_element_dp_bar(
        types.clean_dp_bar[kind],
        types.rated_flow_lpm[kind],
        types.rated_viscosity_mm2_s[kind],
        flow_lpm=warm.flow_lpm,
        viscosity_mm2_s=warm.viscosity_mm2_s,
        density_kg_m3=warm.density_kg_m3,
        elements_in_parallel=columns.positions.quantity[elements.position],
    )


def _clean_vacuum_bar(elements: Elements, by_vacuum: Flags, warm: WarmState, of_another_life: Flags) -> Floats:
    """The place's own vacuum with a clean strainer: the median of the first readings with warm oil in each life."""
    dp, clean = elements.dp, np.full(len(by_vacuum), np.nan)
    for element in np.flatnonzero(by_vacuum):
        rows = slice(dp.offsets[element], dp.offsets[element + 1])
        temperature = dp.oil_temperature_degC[rows]
        viscosity = viscosity_at(temperature, warm.walther_a[element], warm.walther_b[element])
        cold = viscosity > CLEAN_VISCOSITY_RATIO * warm.viscosity_mm2_s[element]
        stands = dp.flow_lpm[rows] == 0.0
        vacuum = dp.vacuum_bar[rows][~(cold | stands | of_another_life[rows])]
        first = vacuum[~np.isnan(vacuum)][:CLEAN_READINGS]
        if len(first):
            clean[element] = np.median(first)
    return clean


def _of_another_life(elements: Elements, owner: Ints) -> Flags:
    """Readings of the element before or after, and date-only ones of the day of a change that do not say which."""
    dp = elements.dp
    is_before = np.array([stage is Stage.BEFORE for stage in dp.stage], dtype=bool)
    is_after = np.array([stage is Stage.AFTER for stage in dp.stage], dtype=bool)
    since_d = dp.day - elements.fitted_day[owner]
    same_day, at_the_change = _about(since_d, dp.is_date | elements.fitted_is_date[owner])
    undecided = same_day & ~is_before & ~is_after
    earlier = (since_d < 0.0) & ~(is_after & at_the_change)
    foreign = undecided | earlier | (is_before & at_the_change)
    until_d = elements.removed_day[owner] - dp.day
    same_day, at_the_change = _about(until_d, dp.is_date | elements.removed_is_date[owner])
    undecided = same_day & ~is_before & ~is_after
    later = (until_d < 0.0) & ~(is_before & at_the_change)
    return np.asarray(foreign | undecided | later | (is_after & at_the_change))


def _about(apart_d: Floats, by_date: Flags) -> tuple[Flags, Flags]:
    """Whether a reading was on a bare date of the change, and whether it may have been at the change at all."""
    same_day = by_date & (np.abs(apart_d) <= 0.5)
    return same_day, same_day | (np.abs(apart_d) <= 1.0 / 24.0)


def _terminal(columns: PlantColumns, elements: Elements, warm: WarmState, clean_bar: Floats) -> tuple[Floats, Ints]:
    """The element's terminal ΔP at the warm state, and the rule that gave it.

    A bypass that has to stay shut on the coldest start lowers it, unless even a clean element would open it then:
    what no element can do is no reason to change one.
    """
    positions, at = columns.positions, elements.position
    stated, indicator, bypass = (limit[at] for limit in stated_limits(columns))
    _, rule = assembly_terminal_dp_bar(stated, indicator, bypass)
    terminal = terminal_element_dp_bar(stated, indicator, bypass, positions.housing_dp_bar[at])
    coldest_degC = columns.systems.coldest_start_degC[positions.system[at]]
    coldest = viscosity_at(coldest_degC, warm.walther_a, warm.walther_b)
    at_start = cold_start_terminal_bar(terminal, warm.viscosity_mm2_s, coldest)
    clean = np.where(np.isnan(clean_bar), USUAL_CLEAN_SHARE * terminal, clean_bar)
    can_stay_shut = positions.shut_at_start[at] & (at_start > ROOM_ABOVE_CLEAN * clean)
    rule = np.where(can_stay_shut & (at_start < terminal), TerminalRule.COLD_START, rule)
    return np.where(can_stay_shut, at_start, terminal), rule.astype(np.intp)


def _inlet_terminal(
    columns: PlantColumns,
    elements: Elements,
    terminal_bar: Floats,
    rule: Ints,
    by_vacuum: Flags,
    clean_vacuum_bar: Floats,
    strainer_clean_bar: Floats,
) -> Floats:
    """For a strainer known by its vacuum: what the pump's inlet limit leaves, unless a terminal ΔP is stated."""
    limit = vacuum_limit_bar(columns.positions.vacuum_limit_bar[elements.position])
    inlet = limit - clean_vacuum_bar + strainer_clean_bar
    inlet = np.where(inlet > 1.05 * strainer_clean_bar, inlet, np.nan)  # else clean is as good as at the limit
    use_inlet = by_vacuum & ~np.isnan(clean_vacuum_bar) & (rule != TerminalRule.STATED)
    return np.where(use_inlet, inlet, terminal_bar)
