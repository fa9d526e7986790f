"""Simulated elements here follow laws of their own (exponential rise, closing pores, wandering ingression)."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from scheduler.engineering.loading_curve import SHAPES, load_of, log_dp_ratio
from scheduler.statistics import condition_forecast, load_posterior, reading_evidence
from scheduler.statistics.condition_forecast import (
    ConditionForecast,
    ForecastSettings,
    KnownBefore,
    ReadingColumns,
    forecast,
)
from scheduler.statistics.life_left import remaining_life
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.load_grid import HIGHEST_RISE, LOAD, S_NODES, ShapeTable
from scheduler.statistics.remaining_hours import from_lognormal

Floats = npt.NDArray[np.float64]

NOISE = 0.08
CLEAN, TERMINAL = np.log(0.3), np.log(2.5)
TYPICAL_H = 1500.0


def life_prior(positions: int = 1, median_h: float = TYPICAL_H, log_sd: float = 0.4) -> LifePrior:
    seen = np.full(positions, 20)
    return LifePrior(np.full(positions, np.log(median_h)), np.full(positions, log_sd), seen, seen, seen)


def forecast_of(lives: list[tuple[Floats, Floats]], now: float | Floats, **more: object) -> ConditionForecast:
    """Forecasts from (run_h, log_dp) of each life; the same type, clean level and terminal for all."""
    count = len(lives)
    run_h = np.concatenate([hours for hours, _ in lives])
    said: dict[str, object] = {
        "log_terminal": np.full(count, TERMINAL),
        "log_clean_mean": np.full(count, CLEAN),
        "log_clean_var": np.full(count, 0.02),
        "life": life_prior(count),
    }
    said |= {name: more.pop(name) for name in KnownBefore.__dataclass_fields__ if name in more}
    readings = ReadingColumns(
        offsets=np.concatenate([[0], np.cumsum([len(hours) for hours, _ in lives])]).astype(np.int64),
        run_h=run_h,
        log_dp=np.concatenate([log_dp for _, log_dp in lives]),
        weight=np.full(len(run_h), 1.0 / NOISE**2),
    )
    asked: dict[str, object] = {"run_h_now": np.broadcast_to(np.asarray(now, dtype=np.float64), (count,))}
    return forecast(readings, KnownBefore(**said), **(asked | more))  # type: ignore[arg-type]


def analytic_shapes() -> ShapeTable:
    rows = [log_dp_ratio(LOAD, shape.blocking, shape.onset) for shape in SHAPES]
    return ShapeTable(np.minimum(np.array(rows), HIGHEST_RISE), tuple(map(str, SHAPES)))


def exponential_life(life_h: float, run_h: Floats, steepness: float = 4.0, noise_seed: int = 0) -> Floats:
    """ln ΔP of an element whose ΔP rises as 1 + a (exp(b m) − 1), at its terminal when m = 1."""
    a = np.expm1(TERMINAL - CLEAN) / np.expm1(steepness)
    rise = np.log1p(a * np.expm1(steepness * run_h / life_h))
    return np.asarray(CLEAN + rise + np.random.default_rng(noise_seed).normal(0.0, NOISE, len(run_h)))


def test_the_grid_agrees_with_plain_sampling_of_the_whole_model() -> None:
    hours, now = np.array([60.0, 300.0, 520.0, 700.0, 800.0]), 800.0
    rises = np.array([0.03, 0.20, 0.38, 0.66, 0.85])
    draws, rng = 400_000, np.random.default_rng(4)
    shape = rng.integers(0, len(SHAPES), draws)
    blocking = np.array([one.blocking for one in SHAPES])[shape]
    onset = np.array([one.onset for one in SHAPES])[shape]
    log_bend = rng.normal(0.0, 0.12, draws)
    variance = stats.invgamma.rvs(3.0, scale=3.0, size=draws, random_state=rng)
    clean = rng.normal(0.0, np.sqrt(0.02 * variance))
    life = np.exp(np.log(TYPICAL_H) + 0.4 * rng.standard_t(6.0, draws))
    end = load_of(np.exp(TERMINAL - CLEAN - clean), blocking, onset)
    load = end * now / life
    log_likelihood = np.zeros(draws)
    for hour, rise in zip(hours, rises, strict=True):
        shown = np.minimum(log_dp_ratio(load * (hour / now) ** np.exp(log_bend), blocking, onset), HIGHEST_RISE)
        sd = np.sqrt(variance) * NOISE
        log_likelihood += stats.norm.logpdf(rise, clean + shown, sd)
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight /= weight.sum()
    assert 1.0 / np.sum(weight**2) > 2000  # enough draws carry the sum

    found = forecast_of(
        [(hours, CLEAN + rises)],
        now,
        shapes=analytic_shapes(),
        shape_weights=np.full(len(SHAPES), 1.0 / len(SHAPES)),
        settings=ForecastSettings(bin_variance=0.0, node_likeness=0.0),
    )
    assert np.all(found.reading_weight == 1.0 / NOISE**2)  # the sampling knows no robust step
    mean = float(weight @ np.log(life))
    assert found.evidence.log_life_mean[0] == pytest.approx(mean, abs=0.02)
    assert found.evidence.log_life_var[0] == pytest.approx(weight @ (np.log(life) - mean) ** 2, rel=0.1)
    assert found.remaining.already_reached[0] == pytest.approx(weight @ (load >= end), abs=0.005)
    assert found.evidence.clean_log_mean[0] == pytest.approx(CLEAN + weight @ clean, abs=0.01)
    shares = np.bincount(shape, weight, len(SHAPES))
    assert found.evidence.shape_share[0] == pytest.approx(shares, abs=0.03)

    gap = np.maximum(end - load, 0.0)
    left = gap + rng.normal(size=draws) * 0.05 * np.minimum(end, 3.0 * gap)
    mean_rate_h = np.maximum(left, 1e-12) / load * now
    returned = 1.0 / (1.0 + 0.5 * mean_rate_h * np.exp(-log_bend) / 500.0)
    hours_left = mean_rate_h * np.exp(
        -returned * log_bend + rng.normal(0.0, ForecastSettings().future_rate_log_sd, draws)
    )
    order = np.argsort(hours_left)
    for level in (0.1, 0.5, 0.9):
        expected = hours_left[order][np.searchsorted(np.cumsum(weight[order]), level)]
        assert found.remaining.quantile(level)[0] == pytest.approx(expected, rel=0.05)


def test_with_no_readings_it_is_the_life_prior_given_the_age() -> None:
    nothing = (np.zeros(0), np.zeros(0))
    missing = np.full(3, np.nan)
    found = forecast_of([nothing] * 3, np.array([0.0, 900.0, 4000.0]), log_terminal=missing, log_clean_mean=missing)
    expected = remaining_life(life_prior(3), np.array([0.0, 900.0, 4000.0]))
    for level in (0.1, 0.5, 0.9):
        assert found.remaining.quantile(level).tolist() == expected.quantile(level).tolist()
    assert found.remaining.already_reached.tolist() == expected.already_reached.tolist()


def test_readings_elsewhere_change_nothing_for_a_position() -> None:
    hours = np.linspace(20.0, 900.0, 12)
    busy = (hours, exponential_life(1200.0, hours))
    nothing = (np.zeros(0), np.zeros(0))
    alone = forecast_of([busy], 900.0).remaining.quantile(0.5)[0]
    among = forecast_of([nothing, *[busy] * 70, nothing, busy], 900.0)
    assert among.remaining.quantile(0.5)[[1, 70, 72]] == pytest.approx(alone, rel=1e-3)
    by_age = remaining_life(life_prior(), np.array([900.0])).quantile(0.5)[0]
    assert among.remaining.quantile(0.5)[[0, 71]] == pytest.approx(by_age)


@pytest.mark.parametrize("now", [0.0, 5.0, 600.0, 1800.0])
def test_one_reading_of_a_new_element_says_little_more_than_its_age(now: float) -> None:
    found = forecast_of([(np.array([0.0]), np.array([CLEAN]))], now)
    by_age = remaining_life(life_prior(), np.array([now]))
    for level in (0.1, 0.5, 0.9):
        off_h = found.remaining.quantile(level)[0] - by_age.quantile(level)[0]
        # the forecast's Student prior has the longer tail: up to two fifths more at the 90 % point
        assert abs(off_h) < 0.42 * by_age.quantile(level)[0] + 0.03 * TYPICAL_H


def test_a_flat_line_is_not_extrapolated() -> None:
    hours = np.linspace(10.0, 450.0, 30)
    rng = np.random.default_rng(8)
    log_dp = CLEAN + 0.02 * hours / 450.0 + rng.normal(0.0, 0.01, 30)
    straight_line_h = (TERMINAL - CLEAN) / np.polyfit(hours, log_dp, 1)[0]
    assert straight_line_h > 20 * TYPICAL_H
    found = forecast_of([(hours, log_dp)], 450.0).remaining
    assert 0.5 * TYPICAL_H < found.quantile(0.5)[0] < 2.0 * TYPICAL_H
    assert found.quantile(0.9)[0] < 4.0 * TYPICAL_H


@pytest.mark.parametrize("age", [0.8, 1.0, 1.4])
def test_a_constant_series_late_in_life_follows_the_life_prior(age: float) -> None:
    now = age * TYPICAL_H
    found = forecast_of([(np.linspace(20.0, now, 40), np.full(40, CLEAN))], now)
    prior = life_prior()
    by_age = from_lognormal(prior.log_median, prior.log_sd, np.array([now])).quantile(0.5)[0]
    assert 0.85 < (now + found.remaining.quantile(0.5)[0]) / (now + by_age) < 1.4
    assert found.remaining.already_reached[0] < 0.02


def test_fewer_readings_leave_it_wider() -> None:
    hours = np.linspace(30.0, 1000.0, 40)
    log_dp = exponential_life(1250.0, hours)

    def width(keep: slice) -> float:
        left = forecast_of([(hours[keep], log_dp[keep])], 1000.0).remaining
        return float(np.log(left.quantile(0.9)[0] / left.quantile(0.1)[0]))

    assert width(slice(39, 40)) > width(slice(3, 40, 12)) > width(slice(0, 40))


def test_an_element_clearly_past_its_terminal_is_told_so() -> None:
    hours = np.linspace(30.0, 1300.0, 40)
    found = forecast_of([(hours, exponential_life(1200.0, hours))], 1300.0)
    assert found.remaining.already_reached[0] > 0.5
    assert found.remaining.quantile(0.5)[0] == 0.0
    assert found.evidence.load_share[0] > 1.0


def test_two_readings_of_an_element_past_its_terminal_are_enough() -> None:
    found = forecast_of([(np.array([1000.0, 1010.0]), np.array([TERMINAL + 0.4, TERMINAL + 0.4]))], 1010.0)
    assert found.remaining.already_reached[0] > 0.5


def test_a_slipped_decimal_point_does_not_make_the_element_due_now() -> None:
    hours = np.linspace(20.0, 700.0, 20)
    log_dp = exponential_life(1500.0, hours)
    sound = forecast_of([(hours, log_dp)], 700.0).remaining.quantile(0.1)[0]
    for place in (0, 10, 18, 19):
        wrong = log_dp.copy()
        wrong[place] += np.log(10.0)
        found = forecast_of([(hours, wrong)], 700.0)
        assert found.remaining.already_reached[0] < 0.02
        assert found.remaining.quantile(0.1)[0] > 0.5 * sound
        assert found.reading_weight[place] < 0.02 / NOISE**2


@pytest.mark.parametrize("count", [1, 3])
def test_worse_newest_readings_are_never_later(count: int) -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        life_h, share = rng.uniform(700.0, 2500.0), rng.uniform(0.2, 1.0)
        hours = np.sort(rng.uniform(0.0, share * life_h, rng.integers(3 * count - 2, 30)))
        log_dp = exponential_life(life_h, hours, rng.uniform(2.0, 6.0), int(rng.integers(1 << 30)))
        newest = np.zeros(len(hours))
        newest[-count:] = 1.0
        median = [
            forecast_of([(hours, log_dp + worse * newest)], hours[-1]).remaining.quantile(0.5)[0]
            for worse in (0.0, 0.1, 0.3)
        ]
        assert median[1] <= 1.06 * median[0]  # another shape may be believed: a few percent
        assert median[2] <= 1.06 * median[0]


def test_a_lower_terminal_is_never_later() -> None:
    hours = np.linspace(20.0, 800.0, 20)
    life = (hours, exponential_life(1100.0, hours))
    medians = [
        forecast_of([life], 800.0, log_terminal=np.array([terminal])).remaining.quantile(0.5)[0]
        for terminal in np.log([5.0, 2.5, 1.5, 0.8, 0.2])
    ]
    assert np.all(np.diff(medians) <= 0.0)
    assert medians[-1] == 0.0


def simulated_plant(law: str, positions: int, seed: int) -> tuple[list[tuple[Floats, Floats]], Floats, Floats]:
    """Lives cut at a random share: their readings, run hours now, true life. Ingression wanders slowly."""
    rng = np.random.default_rng(seed)
    lives, now, life = [], np.zeros(positions), np.zeros(positions)
    for place in range(positions):
        hours = np.linspace(0.0, 9000.0, 1801)
        log_rate = np.zeros(len(hours))
        shocks = rng.normal(0.0, 0.25 * np.sqrt(2.0 * 5.0 / 300.0), len(hours))
        for step in range(1, len(hours)):
            log_rate[step] = log_rate[step - 1] * (1.0 - 5.0 / 300.0) + shocks[step]
        load = np.cumsum(np.exp(log_rate)) * 5.0 / np.exp(rng.normal(np.log(TYPICAL_H), 0.35))
        life[place] = np.interp(1.0, load, hours)
        now[place] = rng.uniform(0.1, 1.0) * life[place]
        read_h = np.append(np.sort(rng.uniform(0.0, now[place], 24)), now[place])
        held = np.interp(read_h, hours, load)
        clean = CLEAN + rng.normal(0.0, 0.12)
        if law == "exponential":
            steepness = rng.uniform(2.0, 6.0)
            rise = np.log1p(np.expm1(TERMINAL - clean) / np.expm1(steepness) * np.expm1(steepness * held))
        else:  # pores close: ΔP ∝ (1 − m/m_c)^−2
            rise = -2.0 * np.log1p(-held * (1.0 - np.exp(0.5 * (clean - TERMINAL))))
        lives.append((read_h, clean + rise + rng.normal(0.0, NOISE, len(read_h))))
    return lives, now, life


@pytest.mark.parametrize("law", ["exponential", "closing"])
def test_simulated_lives_are_forecast_better_than_by_line_or_mean_life(law: str) -> None:
    lives, now, life = simulated_plant(law, 250, seed=21)
    left = life - now
    remaining = forecast_of(lives, now).remaining

    def miss(forecast_h: Floats) -> float:
        return float(np.median(np.abs(forecast_h - left) / life))

    slopes = np.array([np.polyfit(hours[-12:], np.exp(log_dp[-12:]), 1) for hours, log_dp in lives])
    line_h = (np.exp(TERMINAL) - slopes[:, 1]) / np.where(slopes[:, 0] > 1e-9, slopes[:, 0], 1e-9) - now
    median_miss = miss(remaining.quantile(0.5))
    assert median_miss < 0.7 * miss(np.maximum(line_h, 0.0))
    assert median_miss < 0.7 * miss(np.maximum(TYPICAL_H - now, 0.0))
    covered = (remaining.quantile(0.1) <= left) & (left <= remaining.quantile(0.9))
    assert 0.74 < np.mean(covered) < 0.95


def test_what_cannot_be_used_is_refused() -> None:
    life = (np.array([100.0, 200.0]), np.array([CLEAN, CLEAN]))
    with pytest.raises(ValueError, match=r"reading at 200\.0 h, after 150\.0 h"):
        forecast_of([life], 150.0)
    with pytest.raises(ValueError, match="position 0 has readings, but its terminal is nan"):
        forecast_of([life], 250.0, log_terminal=np.array([np.nan]))
    with pytest.raises(ValueError, match="clean level is not above 0"):
        forecast_of([life], 250.0, log_clean_var=np.array([0.0]))
    with pytest.raises(ValueError, match="not finite"):
        forecast_of([(life[0], np.array([CLEAN, np.nan]))], 250.0)
    with pytest.raises(ValueError, match=r"scatter 0\.4 is above 0\.15"):
        ForecastSettings(terminal_load_scatter=0.4)
    with pytest.raises(ValueError, match="must be above 0"):
        ForecastSettings(future_rate_log_sd=0.0)
    with pytest.raises(ValueError, match="do not fit"):
        forecast_of([life], 250.0, run_h_now=np.array([250.0, 250.0]))


def mixed_plant() -> tuple[list[tuple[Floats, Floats]], Floats]:
    """More positions than one thread takes at a time, from new to past their terminal."""
    rng = np.random.default_rng(6)
    now = rng.uniform(30.0, 2200.0, 700)
    lives = []
    for seed, upto_h in enumerate(now):
        hours = np.sort(rng.uniform(0.0, upto_h, rng.integers(1, 12)))
        lives.append((hours, exponential_life(rng.uniform(900.0, 2600.0), hours, rng.uniform(2.0, 6.0), seed)))
    return lives, now


def test_nodes_that_are_left_out_would_have_changed_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against every node of the grid that single precision can tell from nothing."""
    lives, now = mixed_plant()
    found = forecast_of(lives[:300], now[:300])
    monkeypatch.setattr(load_posterior, "_NEGLIGIBLE_LOG", 80.0)
    whole = forecast_of(lives[:300], now[:300])
    for level in (0.1, 0.5, 0.9):
        assert found.remaining.quantile(level) == pytest.approx(whole.remaining.quantile(level), rel=1e-2, abs=1.0)
    assert found.remaining.already_reached == pytest.approx(whole.remaining.already_reached, abs=3e-3)
    assert found.evidence.log_life_mean == pytest.approx(whole.evidence.log_life_mean, abs=5e-3)
    assert found.evidence.shape_share == pytest.approx(whole.evidence.shape_share, abs=5e-3)


def test_on_more_processors_each_position_gets_the_same_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    lives, now = mixed_plant()
    several = forecast_of(lives, now)
    monkeypatch.setattr(reading_evidence, "_BLOCKS_A_RUN", 1000)
    alone = forecast_of(lives, now)
    assert several.remaining.within.tolist() == alone.remaining.within.tolist()
    assert several.evidence.log_life_mean.tolist() == alone.evidence.log_life_mean.tolist()


def test_what_goes_wrong_with_a_few_positions_is_not_lost_among_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    lives, now = mixed_plant()

    def fails(*_: object) -> None:
        raise FloatingPointError("as told")

    monkeypatch.setattr(condition_forecast, "put_evidence", fails)
    with pytest.raises(FloatingPointError, match="as told"):
        forecast_of(lives, now)


def test_an_empty_plant_has_no_forecasts() -> None:
    nothing = np.zeros(0)
    readings = ReadingColumns(np.zeros(1, dtype=np.int64), nothing, nothing, nothing)
    found = forecast(readings, KnownBefore(nothing, nothing, nothing, life_prior(0)), run_h_now=nothing)
    assert len(found.remaining) == 0


@pytest.mark.parametrize("likeness", [0.1, 0.5, 1.0])
def test_readings_whose_errors_have_much_in_common_say_what_fewer_would(likeness: float) -> None:
    """Equal readings at n nodes say what those of 1 + likeness · (n − 1) times the variance say: the design effect of
    Kish, Survey Sampling, 1965, section 5.4. Where the noise is known; the grid against itself."""
    run_h = 1050.0 * S_NODES[2:26:2]
    lives = [(run_h, exponential_life(1300.0, run_h))]
    sure = {"noise_strength": 1e5, "bin_variance": 0.0, "unlearned_bin_variance": 0.0}
    alike = forecast_of(lives, 1050.0, settings=ForecastSettings(node_likeness=likeness, **sure))
    design_effect = np.full(1, 1.0 + likeness * (len(run_h) - 1))
    independent = ForecastSettings(node_likeness=0.0, **sure)
    # the clean level is known to so many variances of the noise
    noisier = forecast_of(
        lives, 1050.0, settings=independent, noise=design_effect, log_clean_var=0.02 / design_effect
    )
    whole = forecast_of(lives, 1050.0, settings=independent)
    for level in (0.1, 0.5, 0.9):
        hours_left = noisier.remaining.quantile(level)[0]
        assert alike.remaining.quantile(level)[0] == pytest.approx(hours_left, rel=0.02)
    assert alike.evidence.log_life_var[0] > 1.2 * whole.evidence.log_life_var[0]


def test_an_element_of_a_type_without_lives_is_known_by_all_that_its_readings_say() -> None:
    run_h = np.linspace(100.0, 1000.0, 12)
    lives = [(run_h, exponential_life(1300.0, run_h))]
    nobody = np.zeros(1, dtype=np.int64)
    alone = LifePrior(np.full(1, np.log(TYPICAL_H)), np.full(1, 0.4), nobody, nobody, nobody)
    fully = forecast_of(lives, 1050.0, settings=ForecastSettings(node_likeness=0.0))
    assert forecast_of(lives, 1050.0, life=alone).remaining.quantile(0.5) == fully.remaining.quantile(0.5)
    assert forecast_of(lives, 1050.0).remaining.quantile(0.5) != fully.remaining.quantile(0.5)
