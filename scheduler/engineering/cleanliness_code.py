"""ISO 4406 cleanliness codes: how many particles of ≥4, ≥6 and ≥14 µm(c) a millilitre of oil holds.

Source: ISO 4406:2021. The limits are the printed ones: they are not powers of two at 1.3, 2.5, 1300, 2500 and
1,300,000 per mL, so 1290 per mL is 17. Where fewer than 20 particles were counted the number is marked "≥".
The counts are cumulative, so a code never rises with size.
"""

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Self

import numpy as np
import numpy.typing as npt

UP_TO_AND_INCLUDING_PER_mL: tuple[float, ...] = (
    *(0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64),
    *(1.3, 2.5, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0),
    *(1_300.0, 2_500.0, 5_000.0, 10_000.0, 20_000.0, 40_000.0, 80_000.0, 160_000.0, 320_000.0, 640_000.0),
    *(1_300_000.0, 2_500_000.0),
)
"""ISO 4406:2021, table 1: upper limit of each scale number from 0 to 28; the lower is the one before."""

SIZES_um_c = (4, 6, 14)
ABOVE_28 = 29
"""How the scale's open end, printed ">28", is kept as a number."""


def scale_numbers(count_per_mL: npt.ArrayLike) -> npt.NDArray[np.intp]:
    """Scale number of each count; 29 stands for >28. ValueError for a negative or a missing count.

    >>> scale_numbers([0.0, 1290.0, 1300.0, 1301.0, 3e6])
    array([ 0, 17, 17, 18, 29])
    """
    counts = np.asarray(count_per_mL, dtype=np.float64)
    if not np.all(counts >= 0.0):
        raise ValueError("a particle count per mL is negative or missing; it has no scale number")
    return np.asarray(np.searchsorted(UP_TO_AND_INCLUDING_PER_mL, counts, side="left"))


def scale_number(count_per_mL: float) -> int:
    """Scale number of one count per mL; 29 stands for >28. ValueError for a negative or a missing count.

    >>> scale_number(50.0)
    13
    """
    return int(scale_numbers(count_per_mL))


def count_limits_per_mL(number: int) -> tuple[float, float]:
    """Counts covered by a scale number: more than the first, up to and including the second.

    The lowest number begins at none; 29 (">28") is open above. Raises ValueError outside 0 to 29.

    >>> count_limits_per_mL(18)
    (1300.0, 2500.0)
    """
    _refuse_outside_scale(number)
    lower = 0.0 if number == 0 else UP_TO_AND_INCLUDING_PER_mL[number - 1]
    return lower, float("inf") if number == ABOVE_28 else UP_TO_AND_INCLUDING_PER_mL[number]


@dataclass(frozen=True, slots=True)
class ScaleNumber:
    """One number of a code; `at_least` where too few particles were counted ("≥")."""

    value: int
    at_least: bool = False

    def __post_init__(self) -> None:
        _refuse_outside_scale(self.value)

    def __str__(self) -> str:
        printed = ">28" if self.value == ABOVE_28 else str(self.value)
        return f"≥{printed}" if self.at_least else printed


@dataclass(frozen=True, slots=True)
class Code:
    """A code for ≥4, ≥6 and ≥14 µm(c); None for a size that was not counted.

    Raises ValueError where a number certainly rises with size.

    >>> str(Code.parse("18/16/13"))
    '18/16/13'
    """

    numbers: tuple[ScaleNumber | None, ScaleNumber | None, ScaleNumber | None]

    def __post_init__(self) -> None:
        counted = [number for number in self.numbers if number is not None]
        if not counted:
            raise ValueError("a cleanliness code needs at least one number")
        for smaller, larger in pairwise(counted):
            if larger.value > smaller.value and not smaller.at_least:
                raise ValueError(
                    f"cleanliness code '{self}' rises from {smaller} to {larger}; "
                    "each count includes all larger particles"
                )

    @classmethod
    def parse(cls, text: str, *, sample: bool = False) -> Self:
        """A code from text such as `18/16/13`; a sample's may be `-/16/13`, `≥18/16/13` or `>28/25/20`.

        `>=` is taken for `≥`. Raises ValueError that says what is wrong and what is expected.

        >>> str(Code.parse("-/16/>=13", sample=True))
        '-/16/≥13'
        """
        parts = [part.strip() for part in text.strip().split("/")]
        if len(parts) != len(SIZES_um_c):
            missing = "; a size that was not counted is written '-', like -/16/13" if sample else ""
            raise ValueError(
                f"'{text}' is not a cleanliness code like 18/16/13: three numbers, ≥4/≥6/≥14 µm(c){missing}"
            )
        first, second, third = (_parse_number(part, text, sample) for part in parts)
        return cls((first, second, third))

    @classmethod
    def of_counts(
        cls, count_4_per_mL: float | None, count_6_per_mL: float | None, count_14_per_mL: float | None
    ) -> Self:
        """The code of three cumulative counts per mL, None for a size not counted. ValueError if they rise.

        >>> str(Code.of_counts(4200.0, 500.0, 61.0))
        '19/16/13'
        """
        first, second, third = (
            None if count is None else ScaleNumber(scale_number(count))
            for count in (count_4_per_mL, count_6_per_mL, count_14_per_mL)
        )
        return cls((first, second, third))

    def __str__(self) -> str:
        return "/".join("-" if number is None else str(number) for number in self.numbers)


def numbers_above(code: Code, target: Code) -> int | None:
    """By how many scale numbers a sample misses its target at the worst size; 0 when no counted size does.

    None where the two have no counted size in common.

    >>> numbers_above(Code.parse("20/17/13"), Code.parse("18/16/13"))
    2
    """
    both = [(have, want) for have, want in zip(code.numbers, target.numbers, strict=True) if have and want]
    return max((max(have.value - want.value, 0) for have, want in both), default=None)


_NUMBER = re.compile(r"(?P<mark>≥|>=)?(?P<open>>)?(?P<digits>[0-9]{1,2})")


def _parse_number(part: str, text: str, sample: bool) -> ScaleNumber | None:
    if part == "-" and sample:
        return None
    found = _NUMBER.fullmatch(part)
    if not found:
        raise ValueError(f"'{part}' in cleanliness code '{text}' is not a scale number from 0 to 28")
    if (found["mark"] or found["open"]) and not sample:
        raise ValueError(f"'{part}' in '{text}': a target is a plain number; ≥ and > belong to samples")
    value = int(found["digits"])
    if found["open"]:
        if value != ABOVE_28 - 1:
            raise ValueError(f"'{part}' in cleanliness code '{text}': only >28 is open above")
        return ScaleNumber(ABOVE_28, at_least=bool(found["mark"]))
    if value >= ABOVE_28:
        raise ValueError(f"'{part}' in cleanliness code '{text}' is above 28, where the ISO 4406 scale ends")
    return ScaleNumber(value, at_least=bool(found["mark"]))


def _refuse_outside_scale(number: int) -> None:
    if not 0 <= number <= ABOVE_28:
        raise ValueError(f"scale number {number} is outside 0 to 28 (and 29 for >28) of ISO 4406")
