"""Lives drawn from the forecaster's own model, with the truth of what it is asked for.

Everything that the model holds for possible is drawn as it holds it: the life from its Student prior, the shape from
its weights, the bend of the rate from its three points, the clean level and the scale of the noise from their joint
prior, the coming rate from its spread. The age is drawn without regard to the life; an element that is past its
terminal stays with the probability that the model gives to nobody having noticed since the last reading.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from scheduler.statistics.condition_forecast import ForecastSettings, KnownBefore, ReadingColumns
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.load_grid import LOAD, THREE_POINTS, ShapeTable, shape_table

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CLEAN_LOG_VAR = 0.01
"""In units of the readings' variance over the stated one, about what finished lives of a type leave open."""
MEDIAN_LIFE_H = 3000.0
LIFE_LOG_SD = 0.3
AGES = (0.1, 1.3)  # of the median life
DP_RATIOS = (4.0, 9.0)  # terminal over clean
CLEAN_DP_BAR = 0.3
STATED_LOG_SD = (0.04, 0.15)


@dataclass(frozen=True, slots=True)
class ModelLives:
    """P lives, their readings, and the run hours that are truly left, 0 for those past their terminal."""

    readings: ReadingColumns
    before: KnownBefore
    run_h_now: Floats
    left_h: Floats

    def __len__(self) -> int:
        return len(self.run_h_now)

    @property
    def reading_counts(self) -> Ints:
        return np.diff(self.readings.offsets)


@dataclass(frozen=True, slots=True)
class _Elements:
    """Of n elements what does not depend on single readings; loads are of now and of the terminal."""

    shape_weights: Floats
    log_ratio: Floats
    stated_log_sd: Floats
    noise: Floats
    clean: Floats
    shape: Ints
    log_bend: Floats
    run_h_now: Floats
    last_share: Floats
    load: Floats
    end: Floats
    readings: Ints


def learned_weights(rng: np.random.Generator, count: int, types: int = 20) -> Floats:
    """Weights of the shapes as lives of a type leave them: two or three in ten matter, the rest are not ruled out."""
    shapes = len(shape_table())
    of_type = rng.dirichlet(np.full(shapes, 0.15), types)
    return np.asarray((0.9 * of_type + 0.1 / shapes)[rng.integers(0, types, count)])


def draw_lives(
    rng: np.random.Generator, reading_counts: Ints, shape_weights: Floats, settings: ForecastSettings
) -> ModelLives:
    """One life for each of the counts of readings, at least 1; shape_weights (P, J) of the ordinary shape table."""
    shapes = shape_table()
    missing = np.arange(len(reading_counts))
    parts: list[_Elements] = []
    places: list[npt.NDArray[np.intp]] = []
    while len(missing):  # an age at which the element would have been changed is drawn again
        tried = _elements(rng, reading_counts[missing], shape_weights[missing], shapes, settings)
        unread = (1.0 - tried.last_share) * np.maximum(np.log(tried.load / tried.end), 0.0)
        stays = rng.random(len(missing)) < np.exp(-unread / settings.unread_scale)
        parts.append(_Elements(*(getattr(tried, column.name)[stays] for column in fields(_Elements))))
        places.append(missing[stays])
        missing = missing[~stays]
    order = np.argsort(np.concatenate(places))
    drawn = _Elements(
        *(np.concatenate([getattr(part, column.name) for part in parts])[order] for column in fields(_Elements))
    )
    return _with_readings(rng, drawn, shapes, settings)


def _elements(
    rng: np.random.Generator, readings: Ints, shape_weights: Floats, shapes: ShapeTable, settings: ForecastSettings
) -> _Elements:
    count = len(readings)
    strength, degrees = settings.noise_strength, settings.life_degrees
    log_ratio = np.log(rng.uniform(*DP_RATIOS, count))
    noise = strength / rng.gamma(strength, 1.0, count)
    clean = np.sqrt(noise * CLEAN_LOG_VAR) * rng.standard_normal(count)
    reached = np.cumsum(shape_weights, axis=1)
    shape = (rng.random(count)[:, None] * reached[:, -1:] > reached).sum(axis=1)
    points, weights = np.array(THREE_POINTS).T
    deviate = rng.standard_normal(count) if np.isinf(degrees) else rng.standard_t(degrees, count)
    life_h = MEDIAN_LIFE_H * np.exp(LIFE_LOG_SD * deviate)
    run_h_now = MEDIAN_LIFE_H * rng.uniform(*AGES, count)
    end = np.empty(count)
    for which, rise in enumerate(shapes.rise):
        rows = shape == which
        end[rows] = np.interp(log_ratio[rows] - clean[rows], rise + 1e-9 * LOAD, LOAD)
    return _Elements(
        shape_weights=shape_weights,
        log_ratio=log_ratio,
        stated_log_sd=rng.uniform(*STATED_LOG_SD, count),
        noise=noise,
        clean=clean,
        shape=shape,
        log_bend=settings.rate_bend_log_sd * rng.choice(points, count, p=weights),
        run_h_now=run_h_now,
        last_share=rng.random(count) ** (1.0 / readings),  # the latest of so many random times
        load=end * run_h_now / life_h,
        end=end,
        readings=readings,
    )


def _with_readings(
    rng: np.random.Generator, drawn: _Elements, shapes: ShapeTable, settings: ForecastSettings
) -> ModelLives:
    count = len(drawn.run_h_now)
    offsets = np.concatenate([[0], np.cumsum(drawn.readings)]).astype(np.int64)
    of = np.repeat(np.arange(count), drawn.readings)
    share = rng.random(len(of))
    share[offsets[1:] - 1] = 1.0
    share = share[np.lexsort((share, of))] * drawn.last_share[of]
    load = drawn.load[of] * share ** np.exp(drawn.log_bend[of])
    rise = np.empty(len(of))
    for which, table in enumerate(shapes.rise):
        rows = drawn.shape[of] == which
        rise[rows] = np.interp(load[rows], LOAD, table)
    scatter = (np.sqrt(drawn.noise) * drawn.stated_log_sd)[of] * rng.standard_normal(len(of))
    log_clean = np.log(CLEAN_DP_BAR)
    seen = np.full(count, 20)
    return ModelLives(
        readings=ReadingColumns(
            offsets=offsets,
            run_h=share * drawn.run_h_now[of],
            log_dp=log_clean + drawn.clean[of] + rise + scatter,
            weight=1.0 / drawn.stated_log_sd[of] ** 2,
        ),
        before=KnownBefore(
            log_terminal=log_clean + drawn.log_ratio,
            log_clean_mean=np.full(count, log_clean),
            log_clean_var=np.full(count, CLEAN_LOG_VAR),
            life=LifePrior(
                np.full(count, np.log(MEDIAN_LIFE_H)), np.full(count, LIFE_LOG_SD), seen, seen, np.zeros_like(seen)
            ),
            shape_weights=drawn.shape_weights,
            noise=np.ones(count),
        ),
        run_h_now=drawn.run_h_now,
        left_h=_left_h(rng, drawn, settings),
    )


def _left_h(rng: np.random.Generator, drawn: _Elements, settings: ForecastSettings) -> Floats:
    """The rate goes back from what it was bent to, and is off by the spread of the coming rate."""
    points, weights = np.array(THREE_POINTS).T
    gap = drawn.end - drawn.load
    alive = gap > 0.0
    scatter = rng.choice(points, len(gap), p=weights) * settings.terminal_load_scatter
    gap = gap + scatter * np.minimum(drawn.end, 3.0 * gap)
    log_h = np.log(np.where(alive, gap, 1.0) / drawn.load * drawn.run_h_now)
    at_rate_now_h = np.exp(log_h - drawn.log_bend)
    log_h -= drawn.log_bend / (1.0 + 0.5 * at_rate_now_h / settings.bend_memory_h)
    coming = settings.future_rate_log_sd * rng.standard_normal(len(gap))
    return np.where(alive, np.exp(log_h + coming), 0.0)
