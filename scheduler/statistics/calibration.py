"""Were the forecasts right? Every finished life forecast anew at several ages by what the other lives teach.

The ages are shares of the life that the others led to expect, not of the one that came: an age chosen by the end
would make every forecast look too late (what is asked at half of a life always ends after as long again). A life
gives a forecast at each age that it reached, a fixed share of a life's weight each, whatever became of it. An end at
the limit is where all readings of the life put its terminal; so is an early change of an element that its readings
showed to be past it. Any other early change says that the terminal lay beyond. Lives that still run are left out.

Source of the measure: Dawid 1984, J. R. Stat. Soc. A 147:278, section 5.3 (prequential probability transform).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from scheduler.statistics.beta_map import (
    CELL_EDGE,
    STRENGTH,
    SeenShares,
    cut_short,
    fitted_map,
    like_of_end,
    shares_seen,
)
from scheduler.statistics.condition_forecast import forecast
from scheduler.statistics.condition_learning import Learned, LivesRead
from scheduler.statistics.life_model import LifeEnd
from scheduler.statistics.load_posterior import ReadingColumns

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

ASKED_AT_SHARE = (0.25, 0.5, 0.75, 1.0)
"""Of the median life that the other lives led to expect."""
BAND = (0.1, 0.9)
_LEAST_END_SD = 0.01


@dataclass(frozen=True, slots=True)
class Calibration:
    """How the forecasts of each element type fared, (T,) each, and the map that sets the next ones right.

    lives_at_limit, lives_early: finished lives that were forecast. forecasts: of them all. mean_pit: 0.5 where
    neither early nor late, below it where lives ended earlier than forecast. band_share: of ends within the 80 %
    band. a, b: of the map as it is used. NaN, and 1 for a and b, where no life was forecast.
    """

    lives_at_limit: Indices
    lives_early: Indices
    forecasts: Indices
    mean_pit: Floats
    band_share: Floats
    a: Floats
    b: Floats

    def __len__(self) -> int:
        return len(self.a)


@dataclass(frozen=True, slots=True)
class _Asked:
    """n forecasts of finished lives; life (n,): whose. ended (n,): its end is known, not only that it lasted."""

    life: Indices
    ended: Flags
    seen: SeenShares


def calibrate(lives: LivesRead, learned: Learned, types: int) -> Calibration:
    """Hold the forecasts of all finished lives against their ends, for types 0..types−1."""
    asked = _ask(lives, learned)
    of_type = lives.where.type[asked.life]
    found = _nothing_known(types)
    middle = 0.5 * (CELL_EDGE[:-1] + CELL_EDGE[1:])
    in_band = (middle > BAND[0]) & (middle < BAND[1])
    for kind in np.unique(of_type):
        rows = np.flatnonzero(of_type == kind)
        seen = asked.seen.of(rows)
        share = shares_seen(seen)
        a, b = _believed(*fitted_map(seen), float(np.mean(asked.ended[rows])))
        found.lives_at_limit[kind] = len(np.unique(asked.life[rows[asked.ended[rows]]]))
        found.lives_early[kind] = len(np.unique(asked.life[rows])) - found.lives_at_limit[kind]
        found.forecasts[kind] = len(rows)
        found.mean_pit[kind], found.band_share[kind] = share @ middle, share[in_band].sum()
        found.a[kind], found.b[kind] = a, b
    return found


def _believed(a: float, b: float, ended_share: float) -> tuple[float, float]:
    """The part of a fitted map that is used: half of it, of a shift to later dates only as far as ends were seen.

    Who knows that a position lasts long changes it late: such early changes speak of longer lives than there are,
    never of shorter ones (positive dependence of cut and life, as in Zheng & Klein 1995, Biometrika 82:127).
    """
    log_width, log_shift = 0.5 * np.log(a * b), 0.5 * np.log(a / b)
    log_shift *= ended_share if log_shift > 0.0 else 1.0
    return float(np.exp(STRENGTH * (log_width + log_shift))), float(np.exp(STRENGTH * (log_width - log_shift)))


def _nothing_known(types: int) -> Calibration:
    at_limit, early, forecasts = (np.zeros(types, dtype=np.int64) for _ in range(3))
    mean_pit, band_share = np.full(types, np.nan), np.full(types, np.nan)
    return Calibration(at_limit, early, forecasts, mean_pit, band_share, a=np.ones(types), b=np.ones(types))


def _ask(lives: LivesRead, learned: Learned) -> _Asked:
    """Forecast every finished life at each age that it reached and that a reading preceded."""
    expected_h = np.exp(learned.lives.life.log_median)
    over = np.flatnonzero((lives.end != LifeEnd.RUNNING) & (np.diff(lives.readings.offsets) > 0))
    asked_at_h = np.concatenate([share * expected_h[over] for share in ASKED_AT_SHARE])
    life = np.tile(over, len(ASKED_AT_SHARE))
    until = _read_until(lives.readings.of(life), asked_at_h)
    kept = np.flatnonzero((asked_at_h < lives.run_h[life]) & (np.diff(until.offsets) > 0))
    life, asked_at_h = life[kept], asked_at_h[kept]
    before = learned.lives.at(life).before(lives.log_terminal[life], lives.log_clean_sheet[life])
    remaining = forecast(until.of(kept), before, run_h_now=asked_at_h, shapes=learned.lives.shapes).remaining
    log_end_mean = learned.evidence.log_life_mean[life]
    log_end_sd = np.maximum(np.sqrt(learned.evidence.log_life_var[life]), _LEAST_END_SD)
    like = like_of_end(remaining, asked_at_h, log_end_mean, log_end_sd)
    least = remaining.cdf_at(lives.run_h[life] - asked_at_h)
    passed_share = ndtr((np.log(lives.run_h[life]) - log_end_mean) / log_end_sd)
    early = lives.end[life] != LifeEnd.AT_LIMIT
    like[early] = cut_short(like[early], least[early], passed_share[early])
    ended = ~early | (passed_share > 0.5)
    return _Asked(life, ended, SeenShares(like, np.full(len(life), 1.0 / len(ASKED_AT_SHARE))))


def _read_until(readings: ReadingColumns, until_h: Floats) -> ReadingColumns:
    """What had been read of each life by until_h (n,)."""
    owner = np.repeat(np.arange(len(until_h)), np.diff(readings.offsets))
    kept = readings.run_h <= until_h[owner]
    counts = np.bincount(owner[kept], minlength=len(until_h))
    return ReadingColumns(
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        readings.run_h[kept],
        readings.log_dp[kept],
        readings.weight[kept],
    )
