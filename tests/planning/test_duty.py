"""Run hours of positions from meters that are read by people."""

import numpy as np
import pytest

from scheduler.planning.duty import assess_duty, day_of_run_hours, planned_ahead, run_hours_between
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.meter_path import MeterMark
from scheduler.vocabulary import EventKind
from tests.planning.small_plant import (
    HOURS_PER_DAY,
    NOW,
    Event,
    Life,
    MeterReading,
    Position,
    Reading,
    StopSpec,
    System,
    plant,
    steady_meter,
)

MAIN = ("S1", "")


def run_h(columns: PlantColumns) -> list[float]:
    return [round(float(hours), 3) for hours in assess_duty(columns).run_h]


def test_run_hours_are_the_meters_since_the_fitting() -> None:
    assert run_h(plant(Position(fitted_day=NOW - 100.0))) == [800.0]


def test_nothing_fitted_has_no_run_hours() -> None:
    duty = assess_duty(plant(Position(fitted=None)))
    assert np.isnan(duty.run_h[0])


def test_hours_since_the_last_meter_reading_come_at_the_use_rate() -> None:
    read_until = {MAIN: steady_meter(NOW - 30.0)}
    assert run_h(plant(Position(), meters=read_until)) == [pytest.approx(800.0, rel=1e-6)]


def test_the_machine_gains_nothing_while_it_stands_for_a_stop() -> None:
    stop = [StopSpec(NOW - 20.0, NOW - 5.0)]
    duty = assess_duty(plant(Position(), meters={MAIN: steady_meter(NOW - 30.0)}, stops=stop))
    assert duty.run_h[0] == pytest.approx(800.0 - 15.0 * HOURS_PER_DAY)


def test_a_stop_of_one_system_stops_no_other() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        systems=[System(), System("S2")],
        stops=[StopSpec(NOW + 10.0, NOW + 20.0, system="S2")],
    )
    ahead = planned_ahead(columns, assess_duty(columns), np.array([0.0, 10.0, 30.0]))
    assert ahead[0].tolist() == pytest.approx([0.0, 100.0, 300.0])
    assert ahead[1].tolist() == pytest.approx([0.0, 100.0, 200.0])


def test_a_stop_of_the_plant_stops_every_system_and_overlapping_stops_count_once() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        systems=[System(), System("S2")],
        stops=[StopSpec(NOW + 10.0, NOW + 20.0), StopSpec(NOW + 15.0, NOW + 20.0, system="S2")],
    )
    ahead = planned_ahead(columns, assess_duty(columns), np.array([30.0]))
    assert ahead[:, 0].tolist() == pytest.approx([200.0, 200.0])


@pytest.mark.parametrize("wrong_h", [72_000.0, 720.0])
def test_a_typing_error_at_the_meter_is_not_used(wrong_h: float) -> None:
    """A slipped decimal either way, in the middle of the readings and as the newest of them."""
    right = steady_meter()
    for place in (len(right) // 2, len(right) - 1):
        typed = [*right]
        typed[place] = MeterReading(right[place].day, wrong_h)
        assert run_h(plant(Position(fitted_day=NOW - 600.0), meters={MAIN: typed})) == [
            pytest.approx(4800.0, rel=1e-3)
        ]


def test_a_replaced_meter_goes_on_counting() -> None:
    change = NOW - 50.0
    before = [reading for reading in steady_meter() if reading.day < change]
    last = MeterReading(change, before[-1].shown_h + HOURS_PER_DAY * (change - before[-1].day), MeterMark.LAST)
    first = MeterReading(change, 12.0, MeterMark.FIRST)
    after = [MeterReading(change + each, 12.0 + HOURS_PER_DAY * each) for each in (10.0, 30.0, 50.0)]
    assert run_h(plant(Position(), meters={MAIN: [*before, last, first, *after]})) == [pytest.approx(800.0)]


def test_a_meter_of_four_digits_turns_over() -> None:
    turning = [
        MeterReading(reading.day, (reading.shown_h + 7600.0) % 10_000.0)
        for reading in steady_meter(from_day=NOW - 350)
    ]
    columns = plant(Position(), meters={MAIN: turning}, digits={MAIN: 4})
    assert min(reading.shown_h for reading in turning) < max(reading.shown_h for reading in turning[:10])
    assert run_h(columns) == [pytest.approx(800.0)]


def test_each_reading_has_its_run_hours_and_one_noted_before_the_fitting_has_none() -> None:
    readings = (Reading(NOW - 100.2, 0.3), Reading(NOW - 50.0, 0.4), Reading(NOW, 0.5))
    duty = assess_duty(plant(Position(readings=readings)))
    assert duty.reading_run_h.tolist() == pytest.approx([0.0, 400.0, 800.0])


def test_a_finished_life_has_the_hours_from_fitting_to_removal() -> None:
    columns = plant(Position(), lives=[Life(NOW - 300.0, NOW - 100.0)])
    assert assess_duty(columns).life_h.tolist() == pytest.approx([1600.0])


def test_without_a_meter_a_finished_life_has_no_hours() -> None:
    columns = plant(Position(), lives=[Life(NOW - 300.0, NOW - 100.0)], meters={MAIN: ()})
    assert np.isnan(assess_duty(columns).life_h[0])


def test_a_position_follows_its_own_meter() -> None:
    pump = steady_meter(h_per_day=2.0)
    columns = plant(Position("P1"), Position("P2", meter="PUMP2"), meters={("S1", "PUMP2"): pump})
    assert run_h(columns) == [800.0, 200.0]


def test_a_meter_read_today_leaves_no_doubt_and_one_read_long_ago_leaves_more() -> None:
    def doubt_h(read_until_day: float) -> float:
        fitted_at_a_reading = Position(fitted_day=NOW - 98.0)
        columns = plant(fitted_at_a_reading, meters={MAIN: steady_meter(read_until_day)})
        return float(assess_duty(columns).run_h_sd[0])

    assert doubt_h(NOW) == 0.0
    assert 0.0 < doubt_h(NOW - 10.0) < doubt_h(NOW - 60.0)


def test_without_a_meter_the_doubt_of_the_hours_begins_at_the_fitting() -> None:
    """Nothing that is older than the element can make its hours less certain."""

    def doubt_h(fitted_day: float) -> float:
        columns = plant(
            Position("P1", fitted_day=fitted_day),
            Position("P2", system="S2", fitted_day=NOW - 4000.0),
            systems=[System(), System("S2")],
            meters={MAIN: ()},
        )
        return float(assess_duty(columns).run_h_sd[0])

    assert doubt_h(NOW) == 0.0
    assert doubt_h(NOW - 1.0) < 10.0
    assert doubt_h(NOW - 1.0) < doubt_h(NOW - 30.0) < doubt_h(NOW - 300.0)


def test_an_element_fitted_after_the_last_meter_reading_is_surer_than_the_meter() -> None:
    meter = {MAIN: steady_meter(NOW - 200.0)}
    new, old = (assess_duty(plant(Position(fitted_day=NOW - age), meters=meter)) for age in (10.0, 300.0))
    assert new.run_h_sd[0] < 0.25 * old.run_h_sd[0]


def duplex(*changeovers: tuple[float, str]) -> PlantColumns:
    return plant(
        Position("A", housing="H1", side="A"),
        Position("B", housing="H1", side="B"),
        Position("OTHER", housing="H2", side="A"),
        events=[Event(EventKind.CHANGEOVER, day, position=side) for day, side in changeovers],
    )


def test_before_the_first_changeover_both_sides_of_a_duplex_housing_count() -> None:
    duty = assess_duty(duplex())
    assert duty.run_h.tolist() == pytest.approx([800.0] * 3)
    assert duty.gains_hours.tolist() == [True] * 3


def test_only_the_side_in_service_gains_hours() -> None:
    columns = duplex((NOW - 60.0, "A"), (NOW - 20.0, "B"))
    duty = assess_duty(columns)
    # A: 40 d with B, 40 d alone; B: 40 d with A, then the last 20 d alone
    assert duty.run_h.tolist() == pytest.approx([640.0, 480.0, 800.0])
    assert duty.gains_hours.tolist() == [False, True, True]
    assert planned_ahead(columns, duty, np.array([10.0]))[:, 0].tolist() == pytest.approx([0.0, 100.0, 100.0])


def test_a_side_gains_nothing_between_two_days_on_which_it_rests() -> None:
    columns = duplex((NOW - 60.0, "A"), (NOW - 20.0, "B"))
    duty = assess_duty(columns)
    hours = [run_hours_between(columns, duty, side, NOW - 30.0, NOW) for side in (0, 1, 2)]
    assert hours == pytest.approx([80.0, 160.0, 240.0])


def test_the_same_side_put_in_service_twice_is_in_service_once() -> None:
    duty = assess_duty(duplex((NOW - 60.0, "A"), (NOW - 50.0, "A"), (NOW - 20.0, "A")))
    assert duty.run_h[:2].tolist() == pytest.approx([800.0, 320.0])


def test_the_doubt_of_a_resting_side_stays_what_it_was() -> None:
    columns = plant(
        Position("A", housing="H1", side="A"),
        Position("B", housing="H1", side="B"),
        events=[Event(EventKind.CHANGEOVER, NOW - 90.0, position="B")],
        meters={MAIN: steady_meter(NOW - 80.0)},
    )
    resting, running = assess_duty(columns).run_h_sd
    assert resting < 0.2 * running


def test_the_day_of_a_number_of_run_hours_is_found_again() -> None:
    columns = plant(Position())
    duty = assess_duty(columns)
    assert day_of_run_hours(columns, duty, 0, 400.0) == pytest.approx(NOW - 50.0, abs=0.1)
    assert day_of_run_hours(columns, duty, 0, 160.0) == pytest.approx(NOW - 80.0, abs=0.1)
