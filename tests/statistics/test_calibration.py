"""Forecasts of finished lives held against their ends: too narrow, too late, right, and hardly any.

The lives are drawn from the very prior that the forecaster is given, or from another; one reading of a clean element
says hardly more than its age (`test_condition_forecast`), so that what is right is known.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from scheduler.statistics.beta_map import recalibrated
from scheduler.statistics.calibration import ASKED_AT_SHARE, Calibration, _ask, calibrate
from scheduler.statistics.condition_forecast import ElementPrior, forecast
from scheduler.statistics.condition_learning import Learned, LivesRead, Targets, learn
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd, LifePrior
from scheduler.statistics.load_grid import first_shape_weights, shape_table
from scheduler.statistics.load_posterior import ForecastSettings, ReadingColumns
from scheduler.statistics.reading_evidence import nothing_read
from scheduler.statistics.remaining_hours import RemainingHours

Floats = npt.NDArray[np.float64]

CLEAN, TERMINAL = float(np.log(0.3)), float(np.log(2.5))
TYPICAL_H, LOG_SD = 2000.0, 0.35
SHAPES = shape_table()


def lives_of(true_h: Floats, cut_h: Floats | None = None, kind: npt.NDArray[np.int64] | None = None) -> LivesRead:
    """Lives with one reading when they were new; cut short where `cut_h` is less than their true hours."""
    count = len(true_h)
    cut_h = np.full(count, np.inf) if cut_h is None else cut_h
    nobody = np.zeros(count, dtype=np.int64)
    return LivesRead(
        names=("medium",) * (1 + int(np.max(nobody if kind is None else kind, initial=0))),
        readings=ReadingColumns(np.arange(count + 1), np.zeros(count), np.full(count, CLEAN), np.full(count, 400.0)),
        run_h=np.minimum(true_h * 1.05, cut_h),
        end=np.where(cut_h < true_h, LifeEnd.EARLY, LifeEnd.AT_LIMIT).astype(np.int64),
        where=Where(nobody if kind is None else kind, np.arange(count), nobody, np.zeros(count)),
        log_terminal=np.full(count, TERMINAL),
        log_clean_sheet=np.full(count, CLEAN),
        clean_log_sd=np.full(count, 0.25),
    )


def learned_of(lives: LivesRead, true_h: Floats, median_h: float = TYPICAL_H, log_sd: float = LOG_SD) -> Learned:
    """What a forecaster who expects such lives would have known of each; the ends are known to 1 %."""
    count = len(true_h)
    seen = np.zeros(count, dtype=np.int64)
    prior = ElementPrior(
        life=LifePrior(np.full(count, np.log(median_h)), np.full(count, log_sd), seen, seen, seen),
        clean_deviation=np.zeros(count),
        clean_log_var=lives.clean_log_sd**2,
        shapes=SHAPES,
        shape_weights=first_shape_weights(SHAPES, lives.log_terminal - lives.log_clean_sheet),
        noise=np.ones(count),
        bin_variance=np.full(count, ForecastSettings().unlearned_bin_variance),
        pit_a=np.ones(count),
        pit_b=np.ones(count),
    )
    evidence = replace(
        nothing_read(count, len(SHAPES)), log_life_mean=np.log(true_h), log_life_var=np.full(count, 1e-4)
    )
    return Learned(prior, prior, evidence, np.zeros(count, dtype=bool))


def drawn_lives(count: int, seed: int = 3, median_h: float = TYPICAL_H, log_sd: float = LOG_SD) -> Floats:
    """From the Student prior with six degrees that `ForecastSettings` believes in."""
    return np.asarray(median_h * np.exp(log_sd * np.random.default_rng(seed).standard_t(6.0, count)))


def found_of(true_h: Floats, cut_h: Floats | None = None, **expected: float) -> Calibration:
    lives = lives_of(true_h, cut_h)
    return calibrate(lives, learned_of(lives, true_h, **expected), 1)


def held_in_band(found: Calibration, log_sd: float) -> tuple[float, float]:
    """Share of other lives of the truth that end within the 80 % band, asked at half of the typical life: as first
    forecast, and through the map."""
    true_h = drawn_lives(700, seed=8)
    true_h = true_h[true_h > 0.5 * TYPICAL_H]
    lives, left_h = lives_of(true_h), true_h - 0.5 * TYPICAL_H
    before = learned_of(lives, true_h, log_sd=log_sd).lives.before(lives.log_terminal, lives.log_clean_sheet)
    first = forecast(lives.readings, before, run_h_now=true_h - left_h).remaining
    mapped = recalibrated(first, np.repeat(found.a, len(true_h)), np.repeat(found.b, len(true_h)))
    held = [(each.quantile(0.1) <= left_h) & (left_h <= each.quantile(0.9)) for each in (first, mapped)]
    return float(np.mean(held[0])), float(np.mean(held[1]))


def test_a_right_forecaster_is_left_as_it_is() -> None:
    found = found_of(drawn_lives(400))
    assert found.mean_pit[0] == pytest.approx(0.5, abs=0.03)
    assert found.band_share[0] == pytest.approx(0.8, abs=0.05)
    assert (found.a[0], found.b[0]) == pytest.approx((1.0, 1.0), abs=0.1)
    assert found.lives_early[0] == 0
    assert 370 < found.lives_at_limit[0] <= 400  # the shortest ended before they were asked


def test_a_forecaster_that_is_too_narrow_is_widened_towards_its_band() -> None:
    narrow = 0.5 * LOG_SD
    found = found_of(drawn_lives(400), log_sd=narrow)
    assert found.band_share[0] < 0.72
    assert found.a[0] < 0.9
    assert found.b[0] < 0.9
    before, after = held_in_band(found, narrow)
    assert before < 0.7
    assert before + 0.08 < after < 0.82


def test_a_forecaster_that_is_too_wide_is_narrowed_towards_its_band() -> None:
    wide = 1.6 * LOG_SD
    found = found_of(drawn_lives(400), log_sd=wide)
    assert found.band_share[0] > 0.85
    assert found.a[0] * found.b[0] > 1.1
    before, after = held_in_band(found, wide)
    assert before > 0.87
    assert 0.8 < after < before - 0.015


def test_a_forecaster_that_is_too_late_is_shifted_earlier() -> None:
    found = found_of(drawn_lives(400), median_h=1.4 * TYPICAL_H)
    assert found.mean_pit[0] < 0.4
    assert found.a[0] < found.b[0]
    remaining = forecast_of_a_new_element(1.4 * TYPICAL_H, LOG_SD)
    earlier = recalibrated(remaining, found.a, found.b)
    assert TYPICAL_H < earlier.quantile(0.5)[0] < 0.95 * remaining.quantile(0.5)[0]


def test_a_forecaster_that_is_too_early_is_shifted_later_where_ends_were_seen() -> None:
    found = found_of(drawn_lives(400), median_h=TYPICAL_H / 1.4)
    assert found.mean_pit[0] > 0.58
    assert found.a[0] > 1.1 * found.b[0]


def test_lives_changed_early_alone_never_make_it_later() -> None:
    """Who knows that a position lasts long changes it late: such cuts speak of longer lives than there are."""
    true_h = drawn_lives(400)
    found = found_of(true_h, cut_h=0.9 * true_h)
    assert (found.lives_at_limit[0], found.lives_early[0] > 350) == (0, True)
    assert found.mean_pit[0] > 0.5
    assert found.a[0] == pytest.approx(found.b[0])


def test_lives_changed_early_do_not_pull() -> None:
    true_h = drawn_lives(900)
    cut_h = np.random.default_rng(4).uniform(0.3 * TYPICAL_H, 1.6 * TYPICAL_H, 900)
    found = found_of(true_h, cut_h)
    assert found.lives_early[0] > 0.4 * (found.lives_at_limit[0] + found.lives_early[0])
    assert found.mean_pit[0] == pytest.approx(0.5, abs=0.04)
    assert found.band_share[0] == pytest.approx(0.8, abs=0.07)
    assert (found.a[0], found.b[0]) == pytest.approx((1.0, 1.0), abs=0.12)


def test_an_element_changed_early_that_its_readings_showed_to_be_spent_counts_as_spent() -> None:
    true_h = np.full(30, TYPICAL_H)
    lives = lives_of(true_h * 1.2, cut_h=np.full(30, 1.19 * TYPICAL_H))
    found = calibrate(lives, learned_of(lives, true_h), 1)
    assert (found.lives_at_limit[0], found.lives_early[0]) == (30, 0)
    assert found.mean_pit[0] < 0.5


def test_three_lives_change_next_to_nothing() -> None:
    found = found_of(np.array([700.0, 800.0, 900.0]))
    remaining = forecast_of_a_new_element(TYPICAL_H, LOG_SD)
    told = recalibrated(remaining, found.a, found.b)
    for level in (0.1, 0.5, 0.9):
        assert told.quantile(level)[0] == pytest.approx(remaining.quantile(level)[0], rel=0.06)


def test_a_life_counts_once_however_often_it_is_asked() -> None:
    true_h = drawn_lives(50)
    lives = lives_of(true_h)
    asked = _ask(lives, learned_of(lives, true_h))
    weight = np.bincount(asked.life, asked.seen.weight, minlength=50)
    assert weight.max() == 1.0
    times = np.bincount(asked.life, minlength=50)
    assert times.max() == len(ASKED_AT_SHARE)
    assert np.all(times[lives.run_h < 0.25 * TYPICAL_H] == 0)


def test_each_type_has_its_own_map_and_a_type_without_lives_none() -> None:
    true_h = np.concatenate([drawn_lives(300), drawn_lives(300, median_h=0.6 * TYPICAL_H)])
    kind = np.repeat(np.array([0, 2]), 300)
    lives = lives_of(true_h, kind=kind)
    found = calibrate(lives, learned_of(lives, true_h), 4)
    assert found.b[2] > found.b[0] + 0.1
    assert (found.a[[1, 3]].tolist(), found.b[[1, 3]].tolist()) == ([1.0, 1.0], [1.0, 1.0])
    assert found.forecasts[[1, 3]].tolist() == [0, 0]
    assert np.all(np.isnan(found.mean_pit[[1, 3]]))


def test_lives_that_still_run_and_lives_that_nobody_read_are_left_out() -> None:
    true_h = drawn_lives(40)
    lives = lives_of(true_h)
    running = replace(lives, end=np.full(40, LifeEnd.RUNNING, dtype=np.int64))
    assert calibrate(running, learned_of(running, true_h), 1).forecasts[0] == 0
    nothing = np.zeros(0)
    unread = replace(lives, readings=ReadingColumns(np.zeros(41, dtype=np.int64), nothing, nothing, nothing))
    assert calibrate(unread, learned_of(unread, true_h), 1).forecasts[0] == 0


def test_what_was_read_after_it_was_asked_is_not_known() -> None:
    """A reading far above the terminal, taken late in every life, changes none of the forecasts before it."""
    true_h = np.full(20, TYPICAL_H)
    lives = lives_of(true_h)
    late = ReadingColumns(
        np.arange(0, 41, 2),
        np.tile([0.0, 1.04 * TYPICAL_H], 20),
        np.tile([CLEAN, TERMINAL + 2.0], 20),
        np.full(40, 400.0),
    )
    seen = [_ask(each, learned_of(each, true_h)).seen.like for each in (lives, replace(lives, readings=late))]
    assert seen[0].tolist() == seen[1].tolist()


def test_what_was_learned_from_a_simulated_plant_is_calibrated_without_a_gap() -> None:
    """Lives that rise exponentially, a third changed early, forecast by what `learn` makes of the others."""
    rng = np.random.default_rng(12)
    count = 60
    true_h = TYPICAL_H * np.exp(0.3 * rng.standard_normal(count))
    early = rng.random(count) < 0.33
    run_h = np.where(early, rng.uniform(0.4, 0.9, count), 1.04) * true_h
    hours = [np.linspace(50.0, last, 25) for last in run_h]
    level = [
        CLEAN + (TERMINAL - CLEAN) * at / life + rng.normal(0.0, 0.04, 25)
        for at, life in zip(hours, true_h, strict=True)
    ]
    where = Where(np.zeros(count, dtype=np.int64), np.arange(count) // 6, np.arange(count) // 12, np.zeros(count))
    lives = replace(
        lives_of(true_h),
        readings=ReadingColumns(
            np.arange(0, 25 * count + 1, 25), np.concatenate(hours), np.concatenate(level), np.full(25 * count, 400.0)
        ),
        run_h=run_h,
        end=np.where(early, LifeEnd.EARLY, LifeEnd.AT_LIMIT).astype(np.int64),
        where=where,
    )
    one = np.zeros(1, dtype=np.int64)
    targets = Targets(
        where=Where(one, one, one, np.zeros(1)),
        guess=FirstGuess(np.log([TYPICAL_H]), np.array([0.8])),
        own_life=np.array([-1]),
        log_terminal=np.array([TERMINAL]),
        log_clean_sheet=np.array([CLEAN]),
        clean_log_sd=np.array([0.25]),
    )
    found = calibrate(lives, learn(lives, targets), 1)
    assert (found.lives_at_limit[0], found.lives_early[0]) == (np.sum(~early), np.sum(early))
    for value in (found.mean_pit, found.band_share, found.a, found.b):
        assert np.all(np.isfinite(value))
    assert 0.3 < found.mean_pit[0] < 0.7
    assert 0.6 < found.band_share[0] <= 1.0


def forecast_of_a_new_element(median_h: float, log_sd: float) -> RemainingHours:
    true_h = np.array([TYPICAL_H])
    lives = lives_of(true_h)
    before = learned_of(lives, true_h, median_h, log_sd).lives.before(lives.log_terminal, lives.log_clean_sheet)
    return forecast(lives.readings, before, run_h_now=np.ones(1)).remaining
