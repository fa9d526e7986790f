"""The target cleanliness of a system whose plant states none: by its most sensitive component and its pressure."""

from bisect import bisect_right

import numpy as np

from scheduler.engineering.cleanliness_code import Code, ScaleNumber
from scheduler.engineering.oil import MINERAL_FAMILIES
from scheduler.vocabulary import FluidFamily

PRESSURE_BANDS_bar = (140.0, 210.0)

TYPICAL_TARGETS: tuple[tuple[tuple[str, ...], tuple[str, str, str]], ...] = (
    (("servo",), ("16/14/11", "16/14/11", "15/13/10")),
    (("proportional",), ("17/15/12", "17/15/12", "16/14/11")),
    (("variable", "piston"), ("18/16/13", "17/15/12", "16/14/11")),
    (("gear", "vane", "fixed"), ("20/18/15", "19/17/14", "18/16/13")),
    (("directional", "cylinder"), ("20/18/15", "19/17/14", "18/16/13")),
)
"""Most sensitive component, by words in its name, to the target below 140, from 140 and from 210 bar; cleanest first.

Typical of published handbooks, which differ by 1–2 numbers; which words mean which row is ours. ISO 12669:2017 scores
otherwise; its tables are not used here.
"""


def typical_target(most_sensitive: str, working_pressure_bar: float, family: FluidFamily | None) -> Code | None:
    """Target by the most sensitive component and the pressure; None where either is not known.

    Another fluid than mineral oil takes one number cleaner (published handbooks; see `TYPICAL_TARGETS`).

    >>> str(typical_target("proportional_valve", 250.0, FluidFamily.HM))
    '16/14/11'
    """
    named = most_sensitive.lower()
    row = next((targets for words, targets in TYPICAL_TARGETS if any(word in named for word in words)), None)
    if row is None or np.isnan(working_pressure_bar):
        return None
    code = Code.parse(row[bisect_right(PRESSURE_BANDS_bar, working_pressure_bar)])
    if family is None or family in MINERAL_FAMILIES:
        return code
    first, second, third = (None if each is None else ScaleNumber(each.value - 1) for each in code.numbers)
    return Code((first, second, third))
