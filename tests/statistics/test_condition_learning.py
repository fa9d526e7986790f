"""Plants of two media with laws of their own: what their finished lives teach of the next."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from scheduler.statistics.condition_forecast import ConditionForecast, forecast
from scheduler.statistics.condition_learning import Learned, LivesRead, Targets, learn
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd
from scheduler.statistics.load_posterior import ReadingColumns

Floats = npt.NDArray[np.float64]

CLEAN, TERMINAL = np.log(0.3), np.log(2.4)
NOISE = 0.06
GENTLE, KNEE = 0, 1
READINGS = 30


def rise(medium: int, share: Floats) -> Floats:
    """ln(ΔP / clean ΔP) at a share of the life; both end eight times above clean."""
    end = TERMINAL - CLEAN
    if medium == GENTLE:
        return np.asarray(np.log1p(np.expm1(end) * np.expm1(2.0 * share) / np.expm1(2.0)))
    return np.asarray(np.log1p(np.expm1(end) * share**14.0))


def lives_read(
    media: list[int], life_h: Floats, ended_share: Floats, *, positions: list[int] | None = None, seed: int = 3
) -> LivesRead:
    """Lives read evenly until they ended at a share of what they would have lasted; from 1 on at their limit."""
    rng = np.random.default_rng(seed)
    count = len(media)
    run_h = life_h * ended_share
    share = np.linspace(0.02, 1.0, READINGS) * ended_share[:, None]
    level = np.array([CLEAN + rise(medium, of) for medium, of in zip(media, share, strict=True)]).reshape(-1)
    own = np.arange(count) if positions is None else np.array(positions, dtype=np.int64)
    return LivesRead(
        names=("gentle", "knee"),
        readings=ReadingColumns(
            offsets=(READINGS * np.arange(count + 1)).astype(np.int64),
            run_h=(share * life_h[:, None]).reshape(-1),
            log_dp=level + rng.normal(0.0, NOISE, len(level)),
            weight=np.full(len(level), 1.0 / NOISE**2),
        ),
        run_h=run_h,
        end=np.where(ended_share >= 1.0, LifeEnd.AT_LIMIT, LifeEnd.EARLY).astype(np.int64),
        where=Where(np.array(media, dtype=np.int64), own, own // 4, np.linspace(0.0, 600.0, count)),
        log_terminal=np.full(count, TERMINAL),
        log_clean_sheet=np.full(count, CLEAN),
        clean_log_sd=np.full(count, 0.25),
    )


def targets_of(media: list[int], own_life: list[int] | None = None, positions: list[int] | None = None) -> Targets:
    count = len(media)
    own = np.arange(1000, 1000 + count) if positions is None else np.array(positions, dtype=np.int64)
    return Targets(
        where=Where(np.array(media, dtype=np.int64), own, own // 4, np.full(count, 600.0)),
        guess=FirstGuess(np.full(count, np.log(2000.0)), np.full(count, 0.8)),
        own_life=np.full(count, -1) if own_life is None else np.array(own_life, dtype=np.int64),
        log_terminal=np.full(count, TERMINAL),
        log_clean_sheet=np.full(count, CLEAN),
        clean_log_sd=np.full(count, 0.25),
    )


def two_media(each: int = 8, ended: float = 1.02) -> Learned:
    media = [GENTLE] * each + [KNEE] * each
    life_h = np.exp(np.random.default_rng(1).normal(np.log(1500.0), 0.1, 2 * each))
    return learn(lives_read(media, life_h, np.full(2 * each, ended)), targets_of([GENTLE, KNEE]))


def forecast_of(medium: int, age: float, learned: Learned, life_h: float = 1500.0) -> ConditionForecast:
    coming = lives_read([medium], np.array([life_h]), np.array([age]), seed=9)
    before = learned.targets.at(np.array([medium])).before(np.array([TERMINAL]), np.array([CLEAN]))
    return forecast(coming.readings, before, run_h_now=np.array([age * life_h]), shapes=learned.targets.shapes)


def test_each_medium_is_believed_to_have_its_own_curve() -> None:
    learned = two_media(each=20)
    share = np.linspace(0.1, 0.95, 18)
    for medium in (GENTLE, KNEE):
        weights, shapes = learned.targets.shape_weights[medium], learned.targets.shapes
        likely = shapes.rise[np.argmax(weights)]
        axis = np.linspace(0.0, 2.6, likely.size)
        end = np.interp(TERMINAL - CLEAN, likely, axis)
        assert np.interp(share * end, axis, likely) == pytest.approx(rise(medium, share), abs=0.2)


@pytest.mark.parametrize(("age", "off_share"), [(0.6, 0.13), (0.85, 0.08)])
def test_a_flat_line_of_a_medium_with_a_knee_is_not_taken_for_a_long_life(age: float, off_share: float) -> None:
    learned = two_media()
    left_h = (1.0 - age) * 1500.0
    for medium in (GENTLE, KNEE):
        median_h = forecast_of(medium, age, learned).remaining.quantile(0.5)[0]
        assert median_h == pytest.approx(left_h, abs=off_share * 1500.0)


def test_what_is_learned_narrows_the_forecast_and_it_holds() -> None:
    untaught = learn(lives_read([], np.zeros(0), np.zeros(0)), targets_of([GENTLE, KNEE]))
    learned = two_media()
    for medium in (GENTLE, KNEE):
        wide, narrow = (
            np.ptp([forecast_of(medium, 0.7, taught).remaining.quantile(level)[0] for level in (0.1, 0.9)])
            for taught in (untaught, learned)
        )
        assert narrow < 0.8 * wide


def test_lives_changed_early_tell_by_their_readings_how_long_they_would_have_lasted() -> None:
    """Changed at three quarters of their life, before the limit: by their end alone they say only "longer"."""
    early = learn(
        lives_read([GENTLE] * 10, np.full(10, 1600.0), np.full(10, 0.75)), targets_of([GENTLE])
    ).targets.life
    assert np.exp(early.log_median[0]) == pytest.approx(1600.0, rel=0.12)
    assert early.at_limit_seen[0] == 0


def test_without_readings_lives_count_by_their_end() -> None:
    lives = lives_read([GENTLE] * 6, np.full(6, 1200.0), np.full(6, 1.0))
    nothing = np.zeros(0)
    unread = replace(lives, readings=ReadingColumns(np.zeros(7, dtype=np.int64), nothing, nothing, nothing))
    life = learn(unread, targets_of([GENTLE])).targets.life
    assert np.exp(life.log_median[0]) == pytest.approx(1200.0, rel=0.1)
    assert life.at_limit_seen[0] == 6


def test_a_running_life_is_not_its_own_prior() -> None:
    """What its readings say would count twice if it came back as what was known before them."""
    media, life_h = [GENTLE] * 7, np.append(np.full(6, 1500.0), 700.0)
    lives = lives_read(media, life_h, np.append(np.full(6, 1.0), 0.9), positions=[0, 1, 2, 3, 4, 5, 6])
    running = replace(lives, end=np.append(lives.end[:6], LifeEnd.RUNNING))
    own = learn(running, targets_of([GENTLE], own_life=[6], positions=[6])).targets.life
    others = learn(
        lives_read(media[:6], life_h[:6], np.full(6, 1.0), positions=[0, 1, 2, 3, 4, 5]), targets_of([GENTLE])
    ).targets.life
    assert own.log_median[0] == pytest.approx(others.log_median[0], abs=0.05)


def test_a_neighbour_that_loads_quickly_now_is_news_for_the_whole_system() -> None:
    """Lives of one system at one time share its ingression; those of a year ago, less so."""
    rng = np.random.default_rng(2)
    systems, each = 12, 6
    ingression = np.repeat(rng.normal(0.0, 0.35, systems * 3), each // 3 * 1)
    count = len(ingression)
    position = np.arange(count)
    life_h = np.exp(np.log(1500.0) - ingression + rng.normal(0.0, 0.05, count))
    lives = lives_read([GENTLE] * count, life_h, np.full(count, 1.02))
    system = np.repeat(np.arange(systems), count // systems)
    day = np.tile(np.repeat([0.0, 800.0, 1600.0], count // systems // 3), systems)
    lives = replace(lives, where=Where(lives.where.type, position, system, day))
    asked = targets_of([GENTLE] * systems)
    now = replace(
        asked, where=Where(asked.where.type, asked.where.position, np.arange(systems), np.full(systems, 1600.0))
    )
    last = np.array([np.mean(np.log(life_h[(system == one) & (day == 1600.0)])) for one in range(systems)])
    found = learn(lives, now).targets.life.log_median
    assert np.corrcoef(found, last)[0, 1] > 0.8


def test_an_empty_plant_teaches_nothing() -> None:
    learned = learn(lives_read([], np.zeros(0), np.zeros(0)), targets_of([]))
    assert len(learned.targets) == 0
