"""Why the oil got dirtier: the likelihood of each cause on what counts, ΔP and a downstream sample say together.

Of one element and its oil three logarithms are looked at, each with its standard deviation, NaN where it is missing:

- x1: the reservoir's count now over before;
- x2: the rate at which the element loads (as its ΔP shows it) now over before;
- x3: the count downstream over upstream of the element now.

What each cause makes of them follows from the balance N = R/E with κ the element's part of E, and is integrated over how
bad it is (nodes of equal chance):

| cause | x1 | x2 | x3 |
|---|---|---|---|
| nothing wrong | 0 | 0 | −ln β |
| ingression × r | ln r | ln r | −ln β |
| share b goes round the element | −ln(1 − κb) | ΔP falls or hardly rises: ln ¼, give or take | ln(b + (1 − b)/β) |
| E is f of what it was, the element sound (less flow, another filter out) | −ln f | 0 | −ln β |
| efficiency lost, β to β′ | −ln(1 − κ + κ(1 − 1/β′)/(1 − 1/β)) | 0 | −ln β′ |

In the steady state all that comes in is collected, so that the load rate follows R and not E. A reservoir sample alone
cannot see β loss (β 75 to 20 moves it 4 %): without a downstream sample that cause is not weighed, and x1 and x2 alone
do not tell a bypass from an element that lets through. Source: the balance (`contamination_balance`), β: ISO 16889;
priors and spreads are ours, by tests/measure/cleanliness_causes.py.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


class Cause(StrEnum):
    NOTHING_WRONG = "nothing_wrong"
    INGRESSION = "ingression"
    BYPASS = "bypass"
    UNDER_FILTRATION = "under_filtration"
    EFFICIENCY_LOSS = "efficiency_loss"


CAUSES = tuple(Cause)

PRIOR = (0.70, 0.12, 0.09, 0.05, 0.04)
"""Of the causes in their order, where somebody asks (ours)."""

_RISEN = np.geomspace(1.8, 10.0, 9)
_ROUND = np.array([0.3, 0.45, 0.6, 0.75, 0.85, 0.92, 0.97, 1.0])
_LEFT = np.array([0.12, 0.2, 0.3, 0.4, 0.5, 0.6])
_BETA_LEFT = np.array([1.05, 1.15, 1.3, 1.6, 2.2, 3.5])

_COUNT_MODEL_SD = 0.15
_LOAD_MODEL_SD = 0.35
"""What the balance leaves out of x1 and x2: bad mixing, dirt of other sizes, the shape of the ΔP curve (ours)."""

_BYPASSED_LOAD, _BYPASSED_LOAD_SD = float(np.log(0.25)), 0.8

_BETA_BELOW_STATED, _BETA_SD = float(np.log(3.0)), 0.9
"""In service β is some 3 times less than on the test bench, and that within a factor of 2.5 (ours, from memory of field
tests)."""

_SAID_TO_GO_ROUND = {True: (0.03, 0.03, 0.6, 0.03, 0.10), False: (0.97, 0.97, 0.4, 0.97, 0.90)}
"""Chance that ΔP readings themselves say "bypass open" or "fell without a change" under each cause (ours)."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of S elements, (S,) each; NaN where a value is missing. filter_share: κ; beta: stated, at the counted size.

    goes_round: ΔP readings say by themselves that oil goes round; has_dp where there are any to say so.
    """

    log_count_ratio: Floats
    log_count_sd: Floats
    log_load_ratio: Floats
    log_load_sd: Floats
    log_passed: Floats
    log_passed_sd: Floats
    filter_share: Floats
    beta: Floats
    goes_round: Flags
    has_dp: Flags


def cause_probability(seen: Evidence) -> Floats:
    """P(cause) (S, 5) in the order of `CAUSES`; the prior where nothing is known, 0 for what cannot be weighed.

    Raises ValueError for a part of E outside 0 to 1 and a β below 1.

    >>> one = {name: np.array([value]) for name, value in dict(
    ...     log_count_ratio=np.log(4.0), log_count_sd=0.3, log_load_ratio=np.log(4.0), log_load_sd=0.3,
    ...     log_passed=np.log(1 / 60), log_passed_sd=0.4, filter_share=1.0, beta=200.0, goes_round=False, has_dp=True
    ... ).items()}
    >>> CAUSES[int(cause_probability(Evidence(**one)).argmax())].value
    'ingression'
    """
    if np.any((seen.filter_share < 0.0) | (seen.filter_share > 1.0)) or np.any(seen.beta < 1.0):
        raise ValueError(f"parts of the cleaning {seen.filter_share} outside 0 to 1 or β {seen.beta} below 1")
    log_posterior = np.column_stack([np.log(p) + each for p, each in zip(PRIOR, _log_likelihoods(seen), strict=True)])
    log_posterior[np.isnan(seen.log_passed), CAUSES.index(Cause.EFFICIENCY_LOSS)] = -np.inf
    return np.asarray(np.exp(log_posterior - logsumexp(log_posterior, axis=1, keepdims=True)))


def _log_likelihoods(seen: Evidence) -> list[Floats]:
    share = np.nan_to_num(seen.filter_share, nan=1.0)[:, None]
    stated = np.nan_to_num(seen.beta, nan=np.e**2)[:, None]
    log_beta = np.maximum(np.log(stated) - _BETA_BELOW_STATED, 0.5 * np.log(stated))
    beta = np.exp(log_beta)
    none, of_size = np.zeros((1, 1)), np.zeros((len(share), 1))
    round_passed = np.log(_ROUND + (1.0 - _ROUND) / beta)
    lost = 1.0 - share * (1.0 - (1.0 - 1.0 / _BETA_LEFT) / (1.0 - 1.0 / np.maximum(beta, 1.01)))
    with np.errstate(divide="ignore"):
        past = np.minimum(-np.log(1.0 - share * _ROUND), np.log(20.0))  # other dirt and walls hold it below
    sound_sd, faulty_sd = _BETA_SD, 0.15
    each = (
        _weigh(seen, none, none, -log_beta, passed_sd=sound_sd),
        _weigh(seen, np.log(_RISEN)[None], np.log(_RISEN)[None], -log_beta, passed_sd=sound_sd),
        _weigh(seen, past, none + _BYPASSED_LOAD, round_passed, passed_sd=faulty_sd, load_sd=_BYPASSED_LOAD_SD),
        _weigh(seen, -np.log(_LEFT)[None], none, -log_beta, passed_sd=sound_sd),
        _weigh(seen, -np.log(np.clip(lost, 0.05, 1.0)), none, of_size - np.log(_BETA_LEFT), passed_sd=faulty_sd),
    )
    said = np.array(
        [np.where(seen.goes_round, _SAID_TO_GO_ROUND[True][c], _SAID_TO_GO_ROUND[False][c]) for c in range(5)]
    )
    return [one + np.where(seen.has_dp, np.log(chance), 0.0) for one, chance in zip(each, said, strict=True)]


def _weigh(
    seen: Evidence,
    count: Floats,
    load: Floats,
    passed: Floats,
    *,
    passed_sd: float,
    load_sd: float = 0.0,
) -> Floats:
    """Log of the mean likelihood over the nodes (1 or S, n) of how bad it is."""
    log_likelihood = (
        _normal(seen.log_count_ratio, np.hypot(seen.log_count_sd, _COUNT_MODEL_SD), count)
        + _normal(seen.log_load_ratio, np.hypot(np.hypot(seen.log_load_sd, _LOAD_MODEL_SD), load_sd), load)
        + _normal(seen.log_passed, np.hypot(seen.log_passed_sd, passed_sd), passed)
    )
    return np.asarray(logsumexp(log_likelihood, axis=1) - np.log(log_likelihood.shape[1]))


def _normal(value: Floats, log_sd: Floats, expected: Floats) -> Floats:
    """Log density (S, n), 0 where the value is missing; a tenth of a wide tail keeps one odd value from ruling."""
    z = (value[:, None] - expected) / log_sd[:, None]
    near = np.exp(-0.5 * z**2) + 0.02 * np.exp(-0.5 * (z / 4.0) ** 2)
    return np.where(np.isnan(z), 0.0, np.log(near) - np.log(log_sd)[:, None])
