"""Everything that finished lives teach about those to come: life, shape, clean level and noise, by type and position.

Each life with readings, also one changed early and one that still runs, is weighed on the grid of `load_posterior`
with what all the other lives say of it beforehand; what its own readings add becomes a soft life of `life_model`, a
vote of `shape_weights` and a deviation of `clean_level`. That is repeated a few times, since each life's prior is
the others' posterior (empirical Bayes). Lives without readings count by their end alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from scheduler.statistics.clean_level import CleanLevel, own_deviation, pooled_clean_level
from scheduler.statistics.condition_forecast import ElementPrior, positions_of
from scheduler.statistics.learned_curve import WARPS, LearnedCurve, learned_curve
from scheduler.statistics.life_effects import Spreads, Where
from scheduler.statistics.life_model import FirstGuess, LifeEnd, LifePrior, Lives, PooledLives, pool_lives
from scheduler.statistics.load_grid import (
    first_shape_weights,
    load_at_rise,
    load_grid,
    rise_at_load,
    shape_table,
)
from scheduler.statistics.load_posterior import ForecastSettings, Positions, ReadingColumns
from scheduler.statistics.makers_curve import MakersCurve, with_makers_curves, with_makers_weights
from scheduler.statistics.model_error import model_error_variance
from scheduler.statistics.reading_evidence import ReadingEvidence, evidence_of
from scheduler.statistics.robust_readings import robust_weights
from scheduler.statistics.shape_weights import position_shape_weights, shape_likelihood, type_shape_weights

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

ROUNDS = 4
POOLING_ROUNDS = 10
"""Within each round: the spreads go on from where the last one left them."""
CURVES_AFTER = (1, 2)
"""The rounds after which the types' own curves are drawn: once the lives are known well enough, and once more when a
first curve has told them better."""
CURVE_PRIOR_LIVES = 15.0
"""Ours: a curve that so many lives told is believed as much as all analytic shapes together."""
CURVE_FREEDOM = 40.0
"""Ours: a drawn curve is about as free as twenty parameters, whose fit flatters the likelihood twice over (Akaike
1974)."""
SHOWN_FROM_SHARE = 0.45
"""Of the terminal ΔP: a life whose last readings stood above it has shown its shape (ours)."""
NOISE_FEWEST_READINGS, NOISE_PRIOR_LIVES = 10, 3.0
NOISE_RANGE = (0.2, 6.0)
_LEAST_PRECISION = 0.05
_READ_VAR = (0.002, 20.0)


@dataclass(frozen=True, slots=True)
class LivesRead:
    """E lives with what was read of them, (E,) each: those that ended, and those that still run.

    names: of the types, (T,). readings: usable ones, ragged by life. run_h: fitting to removal, or to now. end:
    `LifeEnd` codes. where: type 0..T−1 and position as integers. log_terminal, log_clean_sheet, clean_log_sd: as in
    `KnownBefore`, the sheet's. NaN where not known; such a life counts by its end alone.
    """

    names: tuple[str, ...]
    readings: ReadingColumns
    run_h: Floats
    end: Indices
    where: Where
    log_terminal: Floats
    log_clean_sheet: Floats
    clean_log_sd: Floats


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known before its readings of each target (P,), and of each life by all the others (E,).

    How such forecasts fare, and so their Beta maps, is for `calibration` to say: here they are 1 and 1.
    """

    targets: ElementPrior
    lives: ElementPrior
    evidence: ReadingEvidence
    shown: Flags


@dataclass(frozen=True, slots=True)
class Targets:
    """The elements to be forecast, (P,) each. own_life: their row in the lives, −1 where they are none."""

    where: Where
    guess: FirstGuess
    own_life: Indices
    log_terminal: Floats
    log_clean_sheet: Floats
    clean_log_sd: Floats


def learn(
    lives: LivesRead,
    targets: Targets,
    settings: ForecastSettings | None = None,
    *,
    makers: Mapping[int, MakersCurve] | None = None,
) -> Learned:
    """Learn from all lives what is to be expected of the targets before their own readings.

    makers: the makers' curves of some of the types.
    """
    # a life that is believed less is left to its prior, which is the other lives': all would drift off together
    settings = replace(settings or ForecastSettings(), life_degrees=np.inf, node_likeness=0.0)
    return _Learning(lives, targets, settings, makers or {}).run()


class _Learning:
    def __init__(
        self, lives: LivesRead, targets: Targets, settings: ForecastSettings, makers: Mapping[int, MakersCurve]
    ) -> None:
        self.lives, self.targets, self.settings = lives, targets, settings
        # what stands before any life is seen: the analytic shapes and the makers' curves
        self.first_shapes = self.shapes = with_makers_curves(shape_table(), lives.names, makers)
        self.grid = load_grid(self.shapes, settings.rate_bend_log_sd)
        read = lives.readings
        self.readings = replace(read, weight=robust_weights(read.offsets, read.run_h, read.log_dp, read.weight))
        self.count = np.diff(read.offsets)
        self.is_read = self.count > 0
        self.shown = _shown(lives)
        self.types = int(max(lives.where.type.max(initial=-1), targets.where.type.max(initial=-1))) + 1
        self.spreads: Spreads | None = None
        self.own_row = np.arange(len(lives.run_h))
        self.usual_shapes, self.usual_of_targets = (_usual_shapes(of, makers) for of in (lives, targets))
        self.shape_weights = (self.usual_shapes, self.usual_of_targets)

    def run(self) -> Learned:
        nothing = np.full(len(self.lives.run_h), np.nan)
        before = self._first(self._pool(nothing, nothing))
        evidence = self._weigh(before)
        for turn in range(ROUNDS):
            before, of_targets = self._relearn(before, evidence)
            if turn in CURVES_AFTER:
                weights = self._with_curves(evidence)
                before = replace(before, shapes=self.shapes, shape_weights=weights)
            if turn < ROUNDS - 1:
                evidence = self._weigh(before)
        return Learned(of_targets, before, evidence, self.shown)

    def _with_curves(self, evidence: ReadingEvidence) -> Floats:
        """Put the curves that the lives of each type tell into the table; the shape weights of the lives with
        them."""
        lives, read = self.lives, self.readings
        rise_to_end = lives.log_terminal - evidence.clean_log_mean
        of_reading = np.repeat(self.own_row, self.count)
        load = read.run_h / np.exp(evidence.log_life_mean[of_reading])
        rise = read.log_dp - evidence.clean_log_mean[of_reading]
        shapes, share = self.shapes, np.nan_to_num(evidence.shape_share)
        self.shapes, self.shape_weights = self.first_shapes, (self.usual_shapes, self.usual_of_targets)
        for kind in np.unique(lives.where.type[self.shown]):
            of_type = self.shown & (lives.where.type == kind)
            # lives with another terminal end at another load: all are put on the axis of the middle one
            end = load_at_rise(shapes, rise_to_end[of_type]) @ share[of_type].mean(axis=0)
            to_axis = np.full(len(self.count), np.nan)
            to_axis[of_type] = end / np.median(end)
            used = of_type[of_reading]
            found = learned_curve(
                load[used] * to_axis[of_reading[used]], rise[used], read.weight[used], int(of_type.sum())
            )
            if found is not None:
                self._put_curve(found, int(kind))
        self.grid = load_grid(self.shapes, self.settings.rate_bend_log_sd)
        return self.shape_weights[0]

    def _put_curve(self, curve: LearnedCurve, kind: int) -> None:
        """The table and what is usual with a type's curve; it is believed the more, the more lives told it."""
        self.shapes = self.shapes.and_also(curve.rise, tuple(f"{self.lives.names[kind]} {warp:g}" for warp in WARPS))
        share = curve.lives / (curve.lives + CURVE_PRIOR_LIVES)

        def widened(of: Floats, types: Indices) -> Floats:
            own = np.where(types == kind, share, 0.0)[:, None]
            return np.hstack([of * (1.0 - own), np.repeat(own / len(WARPS), len(WARPS), axis=1)])

        of_lives, of_targets = self.shape_weights
        self.shape_weights = (
            widened(of_lives, self.lives.where.type),
            widened(of_targets, self.targets.where.type),
        )

    def _pool(self, log_life: Floats, var: Floats, look_for_systems: bool = False) -> PooledLives:
        kept = (self.lives.end != LifeEnd.RUNNING) | ~np.isnan(log_life)
        rows = np.flatnonzero(kept)
        row_of = np.full(len(kept) + 1, -1)  # the last stands for none
        row_of[rows] = np.arange(len(rows))
        self.pooled_rows = rows
        lives = Lives(
            self.lives.run_h[rows], self.lives.end[rows], self.lives.where.at(rows), log_life[rows], var[rows]
        )
        return pool_lives(
            lives,
            self.targets.where,
            self.targets.guess,
            row_of[self.targets.own_life],
            systems=look_for_systems,
            begin_with=self.spreads,
            most_rounds=POOLING_ROUNDS,
        )

    def _prior_of_lives(self, pooled: PooledLives) -> LifePrior:
        """Of every life by all the others; a running one that was not pooled has its target's."""
        count = len(self.lives.run_h)
        mean, var = np.full(count, np.nan), np.full(count, np.nan)
        mean[self.pooled_rows], var[self.pooled_rows] = pooled.prior_of_each()
        own = self.targets.own_life
        target = np.flatnonzero(own >= 0)
        target = target[np.isnan(mean[own[target]])]
        mean[own[target]] = pooled.next_life.log_median[target]
        var[own[target]] = pooled.next_life.log_sd[target] ** 2
        ended = self.lives.end != LifeEnd.RUNNING
        of_type = np.bincount(self.lives.where.type[ended], minlength=self.types)[self.lives.where.type]
        nobody = np.zeros(count, dtype=np.int64)
        return LifePrior(mean, np.sqrt(var), of_type - ended, nobody, nobody)

    def _first(self, pooled: PooledLives) -> ElementPrior:
        lives = self.lives
        return ElementPrior(
            life=self._prior_of_lives(pooled),
            clean_deviation=np.zeros(len(lives.run_h)),
            clean_log_var=lives.clean_log_sd**2,
            shapes=self.shapes,
            shape_weights=self.usual_shapes,
            noise=np.ones(len(lives.run_h)),
            bin_variance=np.full(len(lives.run_h), self.settings.unlearned_bin_variance),
            pit_a=np.ones(len(lives.run_h)),
            pit_b=np.ones(len(lives.run_h)),
        )

    def _weigh(self, prior: ElementPrior) -> ReadingEvidence:
        before = prior.before(self.lives.log_terminal, self.lives.log_clean_sheet)
        positions: Positions = positions_of(before, self.lives.run_h, self.lives.end, self.shapes, self.settings)
        return evidence_of(self.grid, self.readings, positions, self.settings)

    def _relearn(self, before: ElementPrior, evidence: ReadingEvidence) -> tuple[ElementPrior, ElementPrior]:
        """What is known before of each life and of each target, after one more look at the evidence."""
        lives, targets = self.lives, self.targets
        # the system's spread shows once the lives are known by their readings, and stays as it was found
        pooled = self._pool(*_soft_lives(before.life, evidence), look_for_systems=self.spreads is None)
        self.spreads = pooled.effects.spreads
        clean, clean_of_targets = self._clean(before, evidence)
        shapes, shapes_of_targets = self._shapes(before, evidence)
        noise = self._noise(evidence)
        bin_variance = self._bin_variance(evidence, noise)
        of_lives = ElementPrior(
            life=self._prior_of_lives(pooled),
            clean_deviation=clean.mean,
            clean_log_var=clean.var,
            shapes=self.shapes,
            shape_weights=shapes,
            noise=noise[lives.where.type],
            bin_variance=bin_variance[lives.where.type],
            pit_a=before.pit_a,
            pit_b=before.pit_b,
        )
        of_targets = ElementPrior(
            life=pooled.next_life,
            clean_deviation=clean_of_targets.mean,
            clean_log_var=clean_of_targets.var,
            shapes=self.shapes,
            shape_weights=shapes_of_targets,
            noise=noise[targets.where.type],
            bin_variance=bin_variance[targets.where.type],
            pit_a=np.ones(len(targets.own_life)),
            pit_b=np.ones(len(targets.own_life)),
        )
        return of_lives, of_targets

    def _clean(self, before: ElementPrior, evidence: ReadingEvidence) -> tuple[CleanLevel, CleanLevel]:
        lives, targets = self.lives, self.targets
        rows = np.flatnonzero(self.is_read)
        mean, var = own_deviation(
            evidence.clean_log_mean[rows] - lives.log_clean_sheet[rows],
            evidence.clean_log_var[rows],
            before.clean_deviation[rows],
            before.clean_log_var[rows],
        )
        row_of = np.full(len(self.count) + 1, -1)
        row_of[rows] = np.arange(len(rows))
        sd = np.full(self.types, 0.25)
        for where, told in ((lives.where, lives.clean_log_sd), (targets.where, targets.clean_log_sd)):
            np.maximum.at(sd, where.type, np.nan_to_num(told))
        seen = lives.where.at(rows)
        of_lives = pooled_clean_level(mean, var, seen, lives.where, row_of[self.own_row], sd)
        of_targets = pooled_clean_level(mean, var, seen, targets.where, row_of[targets.own_life], sd)
        return of_lives, of_targets

    def _shapes(self, before: ElementPrior, evidence: ReadingEvidence) -> tuple[Floats, Floats]:
        lives, targets = self.lives, self.targets
        likelihood = shape_likelihood(evidence.shape_share, before.shape_weights)
        usual = np.full((self.types, len(self.shapes)), 1.0 / len(self.shapes))
        for where, weights in ((targets.where, self.shape_weights[1]), (lives.where, self.shape_weights[0])):
            for kind in np.unique(where.type):
                usual[kind] = weights[where.type == kind].mean(axis=0)
        likelihood = self._less_own_making(likelihood)
        of_type = type_shape_weights(likelihood, self.shown, lives.where.type, usual)
        votes = (likelihood, self.shown, lives.where.position)
        return (
            position_shape_weights(*votes, lives.where.position, of_type[lives.where.type], self.own_row),
            position_shape_weights(*votes, targets.where.position, of_type[targets.where.type], targets.own_life),
        )

    def _less_own_making(self, likelihood: Floats) -> Floats:
        """A curve drawn through a life fits it too well: its vote for it is worth the less, the fewer lives drew
        it."""
        lives = np.bincount(self.lives.where.type[self.shown], minlength=self.types)[self.lives.where.type]
        discount = np.exp(-CURVE_FREEDOM / np.maximum(lives, 1))
        told = len(self.first_shapes)
        return np.hstack([likelihood[:, :told], likelihood[:, told:] * discount[:, None]])

    def _noise(self, evidence: ReadingEvidence) -> Floats:
        """By type: the middle of the lives read often enough, held against a few whose readings are as stated."""
        often = self.count >= NOISE_FEWEST_READINGS
        kind = self.lives.where.type[often]
        ratio = np.log(np.clip(evidence.noise_ratio[often], *NOISE_RANGE))
        lives = np.bincount(kind, minlength=self.types)
        return np.asarray(np.exp(np.bincount(kind, ratio, self.types) / (lives + NOISE_PRIOR_LIVES)))

    def _bin_variance(self, evidence: ReadingEvidence, noise: Floats) -> Floats:
        """By type: how far the lives that showed their curve wander from it."""
        lives, read = self.lives, self.readings
        of_reading = np.repeat(self.own_row, self.count)
        used = np.flatnonzero(self.shown[of_reading])
        life = of_reading[used]
        likeliest = np.argmax(np.nan_to_num(evidence.shape_share), axis=1)
        rise_to_end = np.nan_to_num(lives.log_terminal - evidence.clean_log_mean)
        end = load_at_rise(self.shapes, rise_to_end)[self.own_row, likeliest]
        load = end[life] * read.run_h[used] / np.exp(evidence.log_life_mean[life])
        rise = rise_at_load(self.shapes, likeliest[life], load)
        return model_error_variance(
            off=read.log_dp[used] - evidence.clean_log_mean[life] - rise,
            weight=read.weight[used],
            share=read.run_h[used] / lives.run_h[life],
            life=life,
            life_type=lives.where.type,
            noise=noise,
            before=self.settings.bin_variance,
        )


def _usual_shapes(of: LivesRead | Targets, makers: Mapping[int, MakersCurve]) -> Floats:
    """Weights of the shapes before any life is known, the makers' curves among them."""
    rise = np.nan_to_num(of.log_terminal - of.log_clean_sheet)
    return with_makers_weights(first_shape_weights(shape_table(), rise), of.where.type, rise, makers)


def _soft_lives(before: LifePrior, evidence: ReadingEvidence) -> tuple[Floats, Floats]:
    """What the readings alone say of ln life: the posterior with its prior taken out."""
    var = np.clip(evidence.log_life_var, 1e-4, 0.999 * before.log_sd**2)
    precision = np.maximum(1.0 / var - 1.0 / before.log_sd**2, _LEAST_PRECISION)
    alone = (evidence.log_life_mean / var - before.log_median / before.log_sd**2) / precision
    told = precision > 0.5
    return np.where(told, alone, evidence.log_life_mean), np.clip(1.0 / precision, *_READ_VAR)


def _shown(lives: LivesRead) -> Flags:
    """Lives of at least five readings, the last three of which stood high up the curve."""
    offsets, level = lives.readings.offsets, lives.readings.log_dp
    shown = np.zeros(len(lives.run_h), dtype=bool)
    for life in np.flatnonzero(np.diff(offsets) >= 5):
        last = float(np.median(level[offsets[life + 1] - 3 : offsets[life + 1]]))
        shown[life] = last > lives.log_terminal[life] + np.log(SHOWN_FROM_SHARE)
    return shown
