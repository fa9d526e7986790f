"""New oil that is dirtier than the target: through which filter, and how often, before it goes in.

One pass of a transfer leaves N/β of the particles of each size, n passes N/βⁿ (ISO 16889, definition of β). The bound
is a worst case: the new oil's count is the upper limit of its scale number, and what is left may be no more than the
upper limit of the target's (ISO 4406:2021).

Two prudences, both ours. (1) A β from the test bench is not held by a transfer cart, with cold oil, a pulsing
pump and an element long in use: it is counted as 10 at most. Of β 200 this makes ln 200/ln 10 = 2.3 times the
passes, at the mild end of the 2 to 5 by which real clean-ups are slower than ideal ones. (2) β is told at one
size, the rating; for others `beta_at_size` is counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

from scheduler.engineering.cleanliness_code import Code, SIZES_um_c, count_limits_per_mL
from scheduler.engineering.filtration import beta_at_size

USUAL_NEW_OIL = Code.parse("20/18/15")
"""New oil is often no better (published handbooks); it may be worse, so a sample is better than this."""

MOST_BETA = 10.0
"""β that is counted on outside the test bench, at most. Ours; see above."""

MOST_PASSES = 5
"""Beyond, an off-line filter on the container or the system is the better way. Ours."""

Betas = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class TransferFilter:
    """A transfer cart's filter: β at and above `rating_um` µm(c). ValueError for a rating of 0 or less, β below 1."""

    rating_um: float
    beta: float

    def __post_init__(self) -> None:
        if not (self.rating_um > 0.0 and math.isfinite(self.rating_um)):
            raise ValueError(f"rating {self.rating_um} µm is not finite and above 0")
        if not self.beta >= 1.0:
            raise ValueError(f"β ratio {self.beta} is below 1: an element adds no particles")


@dataclass(frozen=True, slots=True)
class FilterChoice:
    """The filter to use and how often; `passes` is 0 and `through` None where the oil is clean enough as it is."""

    through: TransferFilter | None
    passes: int


def beta_at_sizes(through: TransferFilter) -> Betas:
    """β that is counted on at 4, 6 and 14 µm(c), by the two prudences above.

    >>> [round(beta, 2) for beta in beta_at_sizes(TransferFilter(6.0, 200.0))]
    [2.78, 10.0, 10.0]
    """
    four, six, fourteen = beta_at_size(min(through.beta, MOST_BETA), through.rating_um, SIZES_um_c).tolist()
    return four, six, fourteen


def passes_needed(new: Code, target: Code, betas: Betas) -> int | None:
    """Passes after which the new oil meets the target for certain at every size; None where none can be promised.

    betas: at 4, 6 and 14 µm(c). None for a number without an upper limit (">28", "≥"), for a size that needs
    cleaning and has β 1, and beyond `MOST_PASSES`. Raises ValueError for a β below 1.

    >>> passes_needed(Code.parse("20/18/15"), Code.parse("16/14/11"), (10.0, 10.0, 10.0))
    2
    """
    if not min(betas) >= 1.0:
        raise ValueError(f"β ratio {min(betas)} is below 1: an element adds no particles")
    after = (
        _passes_at(had, limit, beta) for had, limit, beta in zip(*_bounds_per_mL(new, target), betas, strict=True)
    )
    passes = max(after)
    return int(passes) if passes <= MOST_PASSES else None


def filter_for(new: Code | None, target: Code, choices: Sequence[TransferFilter]) -> FilterChoice | None:
    """Of the filters at hand the one with the fewest passes, of equals the coarsest; None where none will do.

    `new` None, which is usual, is taken for `USUAL_NEW_OIL`.

    >>> filter_for(None, Code.parse("18/16/13"), [TransferFilter(30.0, 200.0)]) is None
    True
    """
    had = new or USUAL_NEW_OIL
    if passes_needed(had, target, (1.0, 1.0, 1.0)) == 0:
        return FilterChoice(None, 0)
    able = [(each, passes) for each in choices if (passes := passes_needed(had, target, beta_at_sizes(each)))]
    if not able:
        return None
    through, passes = min(able, key=lambda one: (one[1], -one[0].rating_um, one[0].beta))
    return FilterChoice(through, passes)


def says_how_to_fill(new: Code | None, target: Code, choices: Sequence[TransferFilter]) -> str:
    """The sentence for the card.

    >>> says_how_to_fill(Code.parse("15/13/10"), Code.parse("18/16/13"), [])
    'New oil at 15/13/10 meets the target 18/16/13 as it is; fill it through clean equipment.'
    """
    choice = filter_for(new, target, choices)
    oil = f"New oil at {new}"
    if new is None:
        oil = f"The new oil's code is not known and taken as {USUAL_NEW_OIL}, as new oil often is no better; it"
    if choice is None:
        return (
            f"{oil} does not meet the target {target}, and {_why_none(choices)}: use an off-line filter and sample."
        )
    if choice.through is None:
        return f"{oil} meets the target {target} as it is; fill it through clean equipment."
    times = "once" if choice.passes == 1 else f"{choice.passes} times"
    return (
        f"{oil} is dirtier than the target {target}: pass it {times} through a filter of {_called(choice.through)} "
        f"(counted as β {min(choice.through.beta, MOST_BETA):g} outside the test bench)."
    )


def _why_none(choices: Sequence[TransferFilter]) -> str:
    if not choices:
        return "no transfer filter is listed"
    finest = min(choices, key=lambda each: each.rating_um)
    return f"none of the listed filters, the finest {_called(finest)}, is sure to reach it in {MOST_PASSES} passes"


def _called(through: TransferFilter) -> str:
    return f"{through.rating_um:g} µm(c), β {through.beta:g}"


def _bounds_per_mL(new: Code, target: Code) -> tuple[list[float], list[float]]:
    """What the new oil holds at most and what the target allows, at each size. A size that was not counted holds no
    more than the next smaller one, since counts are cumulative; a target that says nothing allows anything."""
    had: list[float] = []
    for number in new.numbers:
        if number is None:
            had.append(had[-1] if had else math.inf)
        else:
            had.append(math.inf if number.at_least else count_limits_per_mL(number.value)[1])
    allowed = [math.inf if number is None else count_limits_per_mL(number.value)[1] for number in target.numbers]
    return had, allowed


def _passes_at(had_per_mL: float, allowed_per_mL: float, beta: float) -> float:
    """Fewest n with had/βⁿ ≤ allowed; infinite where there is none."""
    if had_per_mL <= allowed_per_mL:
        return 0
    if beta <= 1.0 or math.isinf(had_per_mL):
        return math.inf
    return next(n for n in count(1) if n > MOST_PASSES or had_per_mL <= allowed_per_mL * beta**n)
