"""What ΔP readings say of gauge, sensors, oil and a new element: each rule on data with the fault and without."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from scheduler.engineering.viscosity import viscosity_at, walther_constants
from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import assess_duty
from scheduler.planning.reading_diagnoses import reading_diagnoses, without_the_explained
from scheduler.vocabulary import Place, Severity, TaskKind
from tests.planning.small_plant import (
    NAN,
    NOW,
    STRAINER,
    Life,
    Position,
    Reading,
    System,
    life_of,
    only_plain,
    plant,
    prior_of_life,
)

USUAL_LIFE_H = 2000.0
CLEAN_BAR = 0.30  # of the small plant's element at 100 L/min and 50 °C
WALTHER = walther_constants(46.0, 6.8)  # its oil


def thicker(oil_temperature_degC: float | np.ndarray) -> np.ndarray:
    """Viscosity over that at 50 °C (ASTM D341)."""
    return np.asarray(viscosity_at(oil_temperature_degC, *WALTHER) / viscosity_at(50.0, *WALTHER))


def said(*positions: Position, **more: object) -> dict[str, Diagnosis]:
    columns = plant(*positions, **more)  # type: ignore[arg-type]
    duty = assess_duty(columns)
    # without lives there is nothing to learn, and with run hours a forecast that no rule asks for
    prior = None if "lives" in more else prior_of_life(columns, life_of(USUAL_LIFE_H, positions=len(positions)))
    condition = assess_condition(columns, replace(duty, run_h=np.full(len(positions), NAN)), prior)
    return {each.code: each for each in reading_diagnoses(columns, duty, condition)}


def weekly(
    dp_bar: Sequence[float] | np.ndarray,
    oil_temperature_degC: float | Sequence[float] | np.ndarray = 50.0,
    flow_lpm: float | Sequence[float] | np.ndarray = 100.0,
    *,
    every_d: float = 7.0,
) -> tuple[Reading, ...]:
    """One a week up to now."""
    count = len(dp_bar)
    columns = (np.broadcast_to(each, count).tolist() for each in (dp_bar, flow_lpm, oil_temperature_degC))
    days = NOW - every_d * np.arange(count)[::-1]
    return tuple(Reading(day, *values) for day, *values in zip(days.tolist(), *columns, strict=True))


def newly_fitted(*dp_bar: float, degC: float = 50.0, flow_lpm: float = 100.0, **more: object) -> dict[str, Diagnosis]:
    readings = weekly(dp_bar, degC, flow_lpm)
    fitted_day = readings[0].day - 3.0
    position = Position(fitted_day=fitted_day, terminal_dp_bar=2.5, readings=readings, **more)  # type: ignore[arg-type]
    return said(position)


def test_an_element_past_which_oil_goes_shows_too_little() -> None:
    found = newly_fitted(0.10, 0.11)["new-element-shows-too-little"]
    assert (found.severity, found.asks_for) == (Severity.NOW, TaskKind.INSPECT)
    assert found.numbers["read_bar"] == [0.10, 0.11]
    assert found.numbers["expected_bar"] == pytest.approx(CLEAN_BAR, abs=0.01)
    assert found.numbers["fitted_day"] == NOW - 10.0
    assert found.since_day == NOW
    assert only_plain(found.numbers)


@pytest.mark.parametrize("dp_bar", [(0.31, 0.30), (0.22, 0.24), (0.40, 0.42), (0.10,), (0.90,), (0.10, 0.31)])
def test_a_sound_element_and_a_single_reading_say_nothing(dp_bar: tuple[float, ...]) -> None:
    """The check sheet's range about 0.30 bar is 0.6 to 1.5 of it, and half a step of the gauge."""
    assert newly_fitted(*dp_bar) == {}


def test_zero_with_the_oil_flowing_is_too_little_on_a_coarse_gauge_too() -> None:
    assert "new-element-shows-too-little" in newly_fitted(0.0, 0.0)
    assert newly_fitted(0.0, 0.0, flow_lpm=0.0) == {}, "the machine stood"


def test_too_little_clears_when_later_readings_agree_with_what_is_expected() -> None:
    assert "new-element-shows-too-little" in newly_fitted(0.10, 0.11, 0.10, 0.11)
    assert newly_fitted(0.10, 0.11, 0.30, 0.31) == {}


def test_an_element_that_is_too_fine_shows_too_much() -> None:
    found = newly_fitted(0.80, 0.82)["new-element-shows-too-much"]
    assert (found.severity, found.asks_for) == (Severity.SOON, TaskKind.INSPECT)
    assert found.numbers["most_bar"] < 0.80
    assert found.numbers["grade"] is None, "2.7 times is no mistaken drum"


def test_the_grade_of_oil_that_would_show_as_much_is_named() -> None:
    """ISO VG 100 over 46 is 2.17 (ISO 3448): 0.65 bar instead of 0.30."""
    assert newly_fitted(0.65, 0.65)["new-element-shows-too-much"].numbers["grade"] == 100


def test_cold_oil_through_a_new_element_is_not_too_much() -> None:
    """At 20 °C the oil is 4.5 times, at 25 °C 3.4 times as viscous as at 50 °C: 1.0 bar is what it should show."""
    at_25 = CLEAN_BAR * float(thicker(25.0))
    assert at_25 > 0.9
    assert newly_fitted(at_25, at_25, degC=25.0) == {}
    assert "new-element-shows-too-much" in newly_fitted(at_25, at_25, degC=50.0)


def test_the_same_late_in_a_life_is_dirt() -> None:
    readings = weekly([0.80, 0.82])
    late = Position(fitted_day=NOW - 200.0, terminal_dp_bar=2.5, readings=readings)
    assert said(late) == {}


def earlier_lives(dp_bar: float) -> list[Life]:
    days = [NOW - 90.0 * step for step in (5, 4, 3, 2)]
    return [
        Life(day, day + 90.0, readings=tuple(Reading(day + 5.0 + 7.0 * week, dp_bar) for week in range(6)))
        for day in days
    ]


def test_what_the_positions_own_new_elements_showed_sets_the_sheet_right() -> None:
    """The gauge sits behind a branch: half of what the sheet says is normal here, and all of it is too much."""
    readings = weekly([0.12, 0.13])
    position = Position(fitted_day=NOW - 10.0, terminal_dp_bar=2.5, readings=readings)
    assert "new-element-shows-too-little" in said(position)
    assert said(position, lives=earlier_lives(0.14)) == {}


def test_a_strainer_is_not_held_against_its_own_first_readings() -> None:
    readings = tuple(Reading(day, NAN, vacuum_bar=0.02) for day in (NOW - 7.0, NOW))
    strainer = Position(place=Place.SUCTION, part=STRAINER, fitted=STRAINER, fitted_day=NOW - 10.0, readings=readings)
    assert said(strainer) == {}


CHANGING_degC = np.array([50.0, 38.0, 45.0, 30.0, 52.0, 35.0, 48.0, 28.0])


def test_a_gauge_that_stays_while_oil_and_flow_change_is_dead() -> None:
    found = said(Position(terminal_dp_bar=2.5, readings=weekly([0.4] * 8, CHANGING_degC)))["gauge-shows-nothing"]
    assert (found.severity, found.asks_for) == (Severity.SOON, TaskKind.INSPECT)
    assert (found.numbers["shown_bar"], found.numbers["readings"]) == (0.4, 8)
    assert (found.numbers["coldest_degC"], found.numbers["warmest_degC"]) == (28.0, 52.0)
    assert found.numbers["should_most_bar"] / found.numbers["should_least_bar"] == pytest.approx(
        float(thicker(28.0) / thicker(52.0)), rel=0.03
    )
    assert only_plain(found.numbers)


def test_an_honest_gauge_that_stays_because_nothing_changes_is_not_dead() -> None:
    warm = Position(terminal_dp_bar=2.5, readings=weekly([0.4] * 8, [50.0, 51.0, 49.0, 50.0, 50.0, 51.0, 49.0, 50.0]))
    assert said(warm) == {}


def read_on(step_bar: float, clean_bar: float, flow_lpm: float = 100.0) -> Life:
    """A life of a clean element, from warm to cold: it shows the gauge's marks."""
    degC = np.array([50.0, 27.0, 18.0, 50.0, 27.0, 18.0, 50.0, 14.0])
    dp_bar = np.rint(clean_bar * thicker(degC) / step_bar) * step_bar
    columns = zip(dp_bar.tolist(), degC.tolist(), strict=True)
    readings = (Reading(NOW - 300.0 + 7.0 * step, dp, flow_lpm, at) for step, (dp, at) in enumerate(columns))
    return Life(NOW - 310.0, NOW - 201.0, readings=tuple(readings))


def test_a_coarse_gauge_that_hides_the_change_is_not_dead() -> None:
    """A gauge in half bars shows 0.5 from 0.25 to 0.75 bar: all that 0.3 bar does between 38 and 50 °C."""
    readings = weekly([0.5] * 8, np.clip(CHANGING_degC, 38.0, 50.0))
    position = Position(terminal_dp_bar=4.0, fitted_day=NOW - 200.0, readings=readings)
    assert said(position, lives=[read_on(0.5, CLEAN_BAR)]) == {}
    assert "gauge-shows-nothing" in said(position, lives=[read_on(0.02, CLEAN_BAR)]), "on a fine one it is"


def test_a_gauge_that_moves_again_is_not_dead() -> None:
    honest = 0.4 * thicker(CHANGING_degC)
    dead_then_repaired = np.where(np.arange(8) < 6, 0.4, np.round(honest, 2))
    assert "gauge-shows-nothing" not in said(
        Position(terminal_dp_bar=2.5, readings=weekly(dead_then_repaired, CHANGING_degC))
    )


def test_zero_where_even_a_new_element_would_show_something_is_a_dead_gauge() -> None:
    for flow_lpm, count, told in ((100.0, 3, True), (100.0, 2, False), (NAN, 5, True), (NAN, 4, False)):
        position = Position(
            terminal_dp_bar=2.5, fitted_day=NOW - 200.0, readings=weekly([0.0] * count, 45.0, flow_lpm)
        )
        assert ("gauge-shows-nothing" in said(position)) is told, (flow_lpm, count)


def test_zero_of_a_gauge_whose_first_mark_a_new_element_does_not_reach_is_honest() -> None:
    """0.3 bar at 15 % of the flow is 0.045 bar: nothing on a gauge in tenths."""
    readings = weekly([0.0] * 6, 50.0, 15.0)
    small = Position(flow_lpm=15.0, terminal_dp_bar=2.5, fitted_day=NOW - 200.0, readings=readings)
    assert said(small, lives=[read_on(0.1, 0.15 * CLEAN_BAR, 15.0)]) == {}


def test_a_rise_that_is_cold_oil_is_told_as_cold_oil() -> None:
    degC = np.array([50.0, 51.0, 49.0, 50.0, 50.0, 30.0, 29.0])
    dp_bar = np.round(0.4 * thicker(degC), 2)
    found = said(Position(terminal_dp_bar=2.5, readings=weekly(dp_bar, degC)))["oil-cold-not-dirt"]
    assert (found.severity, found.asks_for) == (Severity.NOTE, None)
    assert found.numbers["before_bar"] == pytest.approx(0.4, abs=0.02)
    assert found.numbers["now_bar"] == pytest.approx(float(dp_bar[-2:].mean()), abs=0.001)
    assert found.numbers["restated_now_bar"] == pytest.approx(found.numbers["restated_before_bar"], abs=0.02)
    assert (found.numbers["before_degC"], found.numbers["now_degC"]) == (50.0, 29.5)


@pytest.mark.parametrize(
    ("degC", "dp_bar"),
    [
        ((30.0, 29.0), (1.6, 1.7)),  # cold, and twice the dirt
        ((50.0, 50.0), (0.8, 0.85)),  # warm: it is dirt
        ((50.0, 29.0), (0.4, 1.06)),  # one cold start
        ((46.0, 45.0), (0.47, 0.49)),  # little cooler, little more
    ],
)
def test_dirt_one_cold_start_and_a_small_rise_are_not_told_as_cold_oil(
    degC: tuple[float, float], dp_bar: tuple[float, float]
) -> None:
    readings = weekly([0.4] * 5 + list(dp_bar), [50.0, 51.0, 49.0, 50.0, 50.0, *degC])
    assert "oil-cold-not-dirt" not in said(Position(terminal_dp_bar=2.5, readings=readings))


def read_with(
    viscosity_power: float = 1.0,
    flow_power: float = 1.0,
    *,
    flow_known: bool = True,
    idle: bool = False,
    seed: int = 3,
) -> Position:
    """Thirty weeks of an element that clogs slowly, at changing temperature and flow, with 4 % of scatter."""
    rng = np.random.default_rng(seed)
    count = 30
    degC, through = rng.uniform(25.0, 52.0, count), rng.uniform(0.75, 1.05, count)
    share = np.where(rng.random(count) < 0.4, 0.5, 1.0) if idle else through**flow_power
    level = 0.5 * np.exp(np.linspace(0.0, 0.6, count) + 0.04 * rng.standard_normal(count))
    readings = weekly(
        np.round(level * thicker(degC) ** viscosity_power * share, 2),
        np.round(degC),
        100.0 * through if flow_known else NAN,
    )
    return Position(fitted_day=NOW - 215.0, terminal_dp_bar=4.0, housing_dp_bar=0.0, readings=readings)


FOLLOWS = {
    "restated-dp-follows-viscosity",
    "dp-follows-flow-squared",
    "dp-ignores-flow",
    "dp-jumps-between-two-levels",
}


@pytest.mark.parametrize("flow_known", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_a_sound_element_follows_viscosity_and_flow_in_proportion(flow_known: bool, seed: int) -> None:
    assert not FOLLOWS & set(said(read_with(flow_known=flow_known, flow_power=float(flow_known), seed=seed)))


@pytest.mark.parametrize(("power", "at_least"), [(0.0, -0.2), (2.0, 1.8)])
def test_a_temperature_that_is_not_the_oils_is_told_by_the_power_of_the_viscosity(
    power: float, at_least: float
) -> None:
    found = said(read_with(viscosity_power=power))["restated-dp-follows-viscosity"]
    assert (found.severity, found.asks_for) == (Severity.SOON, TaskKind.INSPECT)
    assert at_least < found.numbers["exponent"] < at_least + 0.4
    assert 25.0 <= found.numbers["coldest_degC"] < found.numbers["warmest_degC"] <= 52.0
    assert found.numbers["readings"] == 30
    assert only_plain(found.numbers)


def test_a_neighbouring_grade_hardly_changes_the_power() -> None:
    """ISO VG 68 with 8.7 mm²/s at 100 °C beside VG 46 with 6.8, both of viscosity index 100 about (from memory)."""
    other = walther_constants(68.0, 8.7)
    between = [float(np.log(np.divide(*viscosity_at([25.0, 50.0], *oil)))) for oil in (WALTHER, other)]
    assert 1.0 < between[1] / between[0] < 1.1


def test_a_restriction_between_the_tappings_is_told_by_the_square_of_the_flow() -> None:
    found = said(read_with(flow_power=2.0))["dp-follows-flow-squared"]
    assert 1.6 < found.numbers["exponent"] < 2.4
    assert only_plain(found.numbers)


def test_a_flow_of_another_line_is_told_because_dp_does_not_follow_it() -> None:
    found = said(read_with(flow_power=0.0))["dp-ignores-flow"]
    assert -0.4 < found.numbers["exponent"] < 0.4


def test_a_flow_that_comes_and_goes_makes_two_levels() -> None:
    found = said(read_with(flow_known=False, idle=True))["dp-jumps-between-two-levels"]
    assert found.numbers["times"] == pytest.approx(2.0, abs=0.3)
    assert found.numbers["crossings"] >= 5
    assert found.numbers["high_bar"] > 1.5 * found.numbers["low_bar"]
    assert only_plain(found.numbers)


def test_one_step_up_is_no_going_to_and_fro() -> None:
    """A change of pump, or a burst of dirt."""
    whole = read_with(flow_known=False, flow_power=0.0)
    stepped = [
        Reading(each.day, each.dp_bar * (2.0 if row >= 15 else 1.0), NAN, each.oil_temperature_degC)
        for row, each in enumerate(whole.readings)
    ]
    position = Position(fitted_day=NOW - 215.0, terminal_dp_bar=4.0, readings=tuple(stepped))
    assert "dp-jumps-between-two-levels" not in said(position)


def test_what_was_read_on_the_elements_before_counts_for_the_sensor_too() -> None:
    whole = read_with(viscosity_power=0.0)
    before, since = whole.readings[:18], whole.readings[18:]
    life = Life(NOW - 215.0, since[0].day - 2.0, readings=before)
    position = Position(fitted_day=since[0].day - 2.0, terminal_dp_bar=4.0, housing_dp_bar=0.0, readings=since)
    assert "restated-dp-follows-viscosity" in said(position, lives=[life])
    assert "restated-dp-follows-viscosity" not in said(position)


def test_a_stuck_gauge_is_told_once_and_explains_the_rest() -> None:
    rng = np.random.default_rng(5)
    readings = weekly([0.9] * 20, rng.uniform(25.0, 52.0, 20), rng.uniform(75.0, 105.0, 20))
    assert set(said(Position(fitted_day=NOW - 137.0, terminal_dp_bar=4.0, readings=readings))) == {
        "gauge-shows-nothing"
    }


def finding(code: str, position: int = 0, **numbers: float) -> Diagnosis:
    return Diagnosis(0, position, code, Severity.SOON, dict(numbers))


def test_a_cause_explains_its_own_position_only_and_zero_leaves_an_element_that_is_not_there() -> None:
    little = finding("new-element-shows-too-little")
    dead_at_zero, stuck = (finding("gauge-shows-nothing", shown_bar=bar) for bar in (0.0, 0.4))
    assert without_the_explained([dead_at_zero, little]) == [dead_at_zero, little]
    assert without_the_explained([stuck, little]) == [stuck]
    elsewhere = finding("dp-ignores-flow", position=1)
    assert without_the_explained([stuck, elsewhere]) == [stuck, elsewhere]
    sensor = finding("restated-dp-follows-viscosity")
    assert without_the_explained([little, finding("oil-cold-not-dirt"), sensor]) == [sensor]


def test_frozen_oil_and_a_machine_that_stood_disturb_no_rule() -> None:
    """At −60 °C the viscosity law has no number; warnings are errors here."""
    degC, flow_lpm = [-60.0, 50.0, 51.0, 49.0] * 4, [100.0, 0.0, 95.0, 105.0] * 4
    readings = weekly([0.4, 0.0, 0.39, 0.42] * 4, degC, flow_lpm)
    assert said(Position(fitted_day=NOW - 120.0, terminal_dp_bar=2.5, readings=readings)) == {}


def test_nothing_is_said_of_a_position_without_readings_or_out_of_use() -> None:
    assert said(Position(), systems=[System()]) == {}
    assert said(Position(fitted=None, readings=weekly([0.1, 0.1]))) == {}
