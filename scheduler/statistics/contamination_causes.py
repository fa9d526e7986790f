"""Why the oil got dirtier: the likelihood of each cause on what counts, ΔP and a downstream sample say together.

Of one element and its oil four logarithms are looked at, each with its standard deviation, NaN where it is missing:

- x1: the reservoir's count now over before;
- x2: the rate at which the element loads (as its ΔP shows it) now over before;
- x3: the count downstream over upstream of the element now;
- x4: the flow through the element now over before, where it was noted with the ΔP.

What each cause makes of them follows from the balance N = R/E with κ the element's part of E, and is integrated over
how bad it is (nodes of equal chance):

| cause | x1 | x2 | x3 | x4 |
|---|---|---|---|---|
| nothing wrong | 0 | 0 | −ln β | 0 |
| ingression × r | ln r | ln r | −ln β | 0 |
| share b goes round the element | −ln(1 − κb) | any; but ΔP fell at once by b | ln(b + (1 − b)/β) | 0 |
| flow through it is f of what it was | −ln(1 − κ(1 − f)) | 0 | −ln β | ln f |
| E is f of what it was by another filter | −ln f | 0 | −ln β | 0 |
| efficiency lost, β to β′ | −ln(1 − κ + κ(1 − 1/β′)/(1 − 1/β)) | 0 | −ln β′ | 0 |

In the steady state all that comes in is collected, so that the load rate follows R and not E. A reservoir sample
alone cannot see β loss (β 75 to 20 moves it 4 %): without a downstream sample that cause is not weighed, and x1 and
x2 alone do not tell a bypass from an element that lets through. Source: the balance (`contamination_balance`), β:
ISO 16889; priors and spreads are ours, by tests/measure/cleanliness_causes.py.
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

PRIOR = (0.57, 0.18, 0.14, 0.06, 0.05)
"""Of the causes in their order, where somebody asks (ours)."""

_RISEN = np.geomspace(1.8, 10.0, 9)
_ROUND = np.array([0.3, 0.45, 0.6, 0.75, 0.85, 0.92, 0.97, 1.0])
_LEFT = np.array([0.12, 0.2, 0.3, 0.4, 0.5, 0.6])
_BETA_LEFT = np.array([1.05, 1.15, 1.3, 1.6, 2.2, 3.5])

_COUNT_MODEL_SD = 0.15
_LOAD_MODEL_SD = 0.35
"""What the balance leaves out of x1 and x2: bad mixing, dirt of other sizes, the shape of the ΔP curve (ours)."""

_LOAD_SHOWS = 0.45
"""How much of ln r the ΔP of some months shows: a steeper shape explains part of it as well (ours, by simulation)."""

_ANY_LOAD_SD = 1.0

_BETA_BELOW_STATED, _BETA_SD = float(np.log(3.0)), 0.9
"""In service β is some 3 times less than on the test bench, and that within a factor of 2.5 (ours, from memory of
field tests)."""

_LOST_SD = 0.15
_FLOW_LOG_SD = 0.15
"""Of x3 about a node, and of x4: machines run at other flows from month to month (ours)."""

_SAID_TO_GO_ROUND = {True: (0.03, 0.03, 0.6, 0.03, 0.10), False: (0.97, 0.97, 0.4, 0.97, 0.90)}
"""Chance that ΔP readings themselves say "bypass open" or "fell without a change" under each cause (ours)."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of S elements, (S,) each; NaN where a value is missing. filter_share: κ; beta: stated, at the counted size.

    log_fell_odds: log of how much better a ΔP that fell at once explains the readings, 0 where they cannot tell.
    goes_round: ΔP readings say by themselves that oil goes round; has_dp where there are any to say so.
    """

    log_count_ratio: Floats
    log_count_sd: Floats
    log_load_ratio: Floats
    log_load_sd: Floats
    log_fell_odds: Floats
    log_passed: Floats
    log_passed_sd: Floats
    log_flow_ratio: Floats
    filter_share: Floats
    beta: Floats
    goes_round: Flags
    has_dp: Flags


def cause_probability(seen: Evidence) -> Floats:
    """P(cause) (S, 5) in the order of `CAUSES`; the prior where nothing is known, 0 for what cannot be weighed.

    Raises ValueError for a part of E outside 0 to 1 and a β below 1.

    >>> told = {"log_count_ratio": np.log(4.0), "log_count_sd": 0.3, "log_load_ratio": np.log(4.0)}
    >>> told |= {"log_load_sd": 0.3, "log_fell_odds": -1.0, "log_passed": np.log(1 / 60), "log_passed_sd": 0.4}
    >>> told |= {"log_flow_ratio": 0.0, "filter_share": 1.0, "beta": 200.0, "goes_round": False, "has_dp": True}
    >>> found = cause_probability(Evidence(**{name: np.array([value]) for name, value in told.items()}))
    >>> CAUSES[int(found.argmax())].value
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
    risen, left = np.log(_RISEN)[None], np.log(_LEFT)[None]
    short = np.hstack([-np.log(1.0 - share * (1.0 - _LEFT)), np.broadcast_to(-left, (len(share), len(_LEFT)))])
    flow = np.hstack([left, np.zeros_like(left)])  # as often the element's own flow as another filter's cleaning
    each = (
        _weigh(seen, none, none, -log_beta, none),
        _weigh(seen, risen, _LOAD_SHOWS * risen, -log_beta, none),
        _weigh(seen, past, none, round_passed, none, passed_sd=_LOST_SD, load_sd=_ANY_LOAD_SD) + seen.log_fell_odds,
        _weigh(seen, short, none, -log_beta, flow),
        _weigh(seen, -np.log(np.clip(lost, 0.05, 1.0)), none, of_size - np.log(_BETA_LEFT), none, passed_sd=_LOST_SD),
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
    flow_ratio: Floats,
    *,
    passed_sd: float = _BETA_SD,
    load_sd: float = 0.0,
) -> Floats:
    """Log of the mean likelihood over the nodes (1 or S, n) of how bad it is; all in logarithms."""
    log_likelihood = (
        _normal(seen.log_count_ratio, np.hypot(seen.log_count_sd, _COUNT_MODEL_SD), count)
        + _normal(seen.log_load_ratio, np.hypot(np.hypot(seen.log_load_sd, _LOAD_MODEL_SD), load_sd), load)
        + _normal(seen.log_passed, np.hypot(seen.log_passed_sd, passed_sd), passed)
        + _normal(seen.log_flow_ratio, np.full(len(seen.beta), _FLOW_LOG_SD), flow_ratio)
    )
    return np.asarray(logsumexp(log_likelihood, axis=1) - np.log(log_likelihood.shape[1]))


def _normal(value: Floats, log_sd: Floats, expected: Floats) -> Floats:
    """Log density (S, n), 0 where the value is missing; a tenth of a wide tail keeps one odd value from ruling."""
    z = (value[:, None] - expected) / log_sd[:, None]
    near = np.exp(-0.5 * z**2) + 0.02 * np.exp(-0.5 * (z / 4.0) ** 2)
    return np.where(np.isnan(z), 0.0, np.log(near) - np.log(log_sd)[:, None])
