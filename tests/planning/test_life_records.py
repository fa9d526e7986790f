"""The record of lives: counts and reasons by hand, short positions pooled, and what early changes throw away."""

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.duty import assess_duty
from scheduler.planning.life_records import LifeRecord, life_records
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import RemovalReason
from tests.planning.small_plant import ELEMENT, HOURS_PER_DAY, NOW, Life, Position, System, plant, steady_meter

METER = {("S1", ""): steady_meter(from_day=NOW - 3100.0)}


def lives_of(position: str, *life_d: float, reason: RemovalReason = RemovalReason.INDICATOR) -> list[Life]:
    """One after the other up to 100 days ago."""
    ends = NOW - 100.0 - np.concatenate([[0.0], np.cumsum(life_d)])
    return [
        Life(float(end - each), float(end), reason, position) for end, each in zip(ends[:-1], life_d, strict=True)
    ]


def records(columns: PlantColumns, chosen: np.ndarray | None = None) -> dict[str, LifeRecord]:
    which = np.ones(len(columns.positions.code), dtype=bool) if chosen is None else chosen
    found = life_records(columns, assess_duty(columns), which)
    return {"" if each.position < 0 else columns.positions.code[each.position]: each for each in found}


def three_positions(*lives: Life) -> PlantColumns:
    return plant(*(Position(code) for code in ("P1", "P2", "P3")), lives=lives, meters=METER)


def test_each_position_has_its_lives_and_the_type_has_them_all() -> None:
    found = records(
        three_positions(
            *lives_of("P1", 100.0, 120.0),
            *lives_of("P2", 90.0, reason=RemovalReason.EARLY),
        )
    )
    assert list(found) == ["", "P1", "P2", "P3"]  # P3's only life still runs
    assert (found[""].lives, found[""].running, found[""].at_limit) == (3, 3, 2)
    assert found["P2"].reasons == {RemovalReason.EARLY: 1}
    assert found["P1"].curve.at_h.tolist() == pytest.approx([100.0 * HOURS_PER_DAY, 120.0 * HOURS_PER_DAY])
    # at 800 h are at risk: both lives of P1 and the three that have run 800 h so far; P2's ended at 720 h
    assert found[""].curve.at_risk.tolist()[0] == 5


def test_a_mistake_is_no_life_here_either() -> None:
    assert records(three_positions(*lives_of("P1", 100.0, reason=RemovalReason.MISTAKE)))[""].lives == 0


def test_positions_that_are_not_asked_for_still_say_what_is_usual() -> None:
    lives = [*lives_of("P1", *[60.0] * 5), *lives_of("P2", *[200.0] * 5), *lives_of("P3", *[210.0] * 5)]
    columns = three_positions(*lives)
    alone = records(columns, np.array([True, False, False]))
    assert list(alone) == ["", "P1"]
    assert alone[""].lives == 5
    assert alone["P1"].short == records(columns)["P1"].short


def test_a_position_with_short_lives_stands_out_and_one_short_life_does_not() -> None:
    long = [*lives_of("P2", *[200.0] * 6), *lives_of("P3", *[190.0] * 6)]
    five = records(three_positions(*lives_of("P1", *[80.0] * 6), *long))["P1"].short
    one = records(three_positions(*lives_of("P1", 150.0), *long))["P1"].short
    assert five is not None
    assert one is not None
    assert five.chance < 0.05
    assert five.high_ratio < 1.0
    assert one.chance > 0.1
    assert one.ratio > five.ratio


def test_alike_positions_seldom_stand_out() -> None:
    """40 positions of five lives that differ by luck alone: of a pooled chance below 5 % there are few."""
    rng = np.random.default_rng(11)
    positions = [Position(f"P{row}", system=f"S{row}") for row in range(40)]
    systems = [System(f"S{row}") for row in range(40)]
    meters = {(each.code, ""): steady_meter(from_day=NOW - 3100.0) for each in systems}
    lives = [
        life
        for each in positions
        for life in lives_of(each.code, *(250.0 * np.exp(0.25 * rng.standard_normal(5))).tolist())
    ]
    columns = plant(*positions, systems=systems, lives=lives, meters=meters)
    chances = [each.short.chance for each in records(columns).values() if each.short is not None]
    assert len(chances) == 40
    assert np.sum(np.array(chances) < 0.05) <= 4


def test_an_early_change_throws_away_what_its_fellows_outlived_it_by() -> None:
    """Twelve lives to the limit of 200 days and one changed at 50: three quarters of it were still to come."""
    lives = [*lives_of("P1", *[200.0] * 6), *lives_of("P2", *[200.0] * 6)]
    early = lives_of("P3", 50.0, reason=RemovalReason.EARLY)
    found = records(three_positions(*lives, *early))
    assert found["P3"].early.count == 1
    assert found["P3"].early.thrown_share == pytest.approx(0.75, abs=0.05)
    assert found["P1"].early.count == 0
    assert np.isnan(found["P1"].early.thrown_share)


def test_what_was_thrown_away_is_worth_its_share_of_element_and_labour() -> None:
    """Prices of 60 for the element and 40 for the labour: the share of a hundred."""
    base = three_positions(*lives_of("P1", *[200.0] * 6), *lives_of("P3", 50.0, reason=RemovalReason.EARLY))
    columns = with_prices(base, element=60.0, labour=40.0)
    early = records(columns)["P3"].early
    assert early.cost == {"EUR": pytest.approx(100.0 * early.thrown_share)}
    assert records(with_prices(base, element=60.0, labour=float("nan")))["P3"].early.cost == {}


def with_prices(columns: PlantColumns, element: float, labour: float) -> PlantColumns:
    types = columns.types
    price = np.where(np.array(types.part_number) == ELEMENT, element, np.nan)
    return replace(
        columns,
        types=replace(types, price=price, currency=("EUR",) * len(types.part_number)),
        systems=replace(columns.systems, labour_cost=np.full(len(columns.systems.code), labour)),
    )
