"""At which ΔP an element is spent: what the plant says, else the indicator, else a share of the bypass ΔP.

The stated values are across the assembly with warm oil; an element is judged by what is left of them after
the housing's part. Arrays of any shapes that broadcast; NaN is unknown.
"""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

BYPASS_SHARE = 0.75
"""Of the bypass cracking ΔP, where neither terminal nor indicator is stated; common practice, no source."""


class TerminalRule(IntEnum):
    """Where a terminal ΔP comes from, for the reason."""

    UNKNOWN = 0
    STATED = 1
    INDICATOR = 2
    SHARE_OF_BYPASS = 3
    COLD_START = 4
    """What is left of it when the bypass has to stay shut on the coldest start."""


def assembly_terminal_dp_bar(
    terminal_dp_bar: npt.ArrayLike, indicator_dp_bar: npt.ArrayLike, bypass_dp_bar: npt.ArrayLike
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Terminal ΔP across the assembly, warm, and the `TerminalRule` that gave it; NaN if nothing is stated.

    >>> assembly_terminal_dp_bar(np.nan, [2.0, np.nan], 3.0)
    (array([2.  , 2.25]), array([2, 3], dtype=int8))
    """
    stated, indicator, bypass = np.broadcast_arrays(
        np.asarray(terminal_dp_bar, dtype=np.float64),
        np.asarray(indicator_dp_bar, dtype=np.float64),
        np.asarray(bypass_dp_bar, dtype=np.float64),
    )
    known = [~np.isnan(stated), ~np.isnan(indicator), ~np.isnan(bypass)]
    dp = np.select(known, [stated, indicator, BYPASS_SHARE * bypass], np.nan)
    rules = [TerminalRule.STATED, TerminalRule.INDICATOR, TerminalRule.SHARE_OF_BYPASS]
    rule = np.select(known, [np.int8(each) for each in rules], np.int8(TerminalRule.UNKNOWN))
    return dp, rule.astype(np.int8)


def terminal_element_dp_bar(
    terminal_dp_bar: npt.ArrayLike,
    indicator_dp_bar: npt.ArrayLike,
    bypass_dp_bar: npt.ArrayLike,
    housing_dp_bar: npt.ArrayLike,
) -> Floats:
    """The element's share of the terminal ΔP at the warm state.

    Where the housing's ΔP is unknown (NaN) nothing is taken off, as nothing is taken off the readings. NaN
    where no terminal is stated, or where the housing alone takes all of it and the position's data
    contradict each other.

    >>> float(terminal_element_dp_bar(np.nan, np.nan, 3.0, 0.25))
    2.0
    """
    dp, _ = assembly_terminal_dp_bar(terminal_dp_bar, indicator_dp_bar, bypass_dp_bar)
    housing = np.asarray(housing_dp_bar, dtype=np.float64)
    left = dp - np.where(np.isnan(housing), 0.0, housing)
    return np.where(left > 0.0, left, np.nan)


def cold_start_terminal_bar(
    terminal_element_dp_bar: npt.ArrayLike,
    warm_viscosity_mm2_s: npt.ArrayLike,
    coldest_viscosity_mm2_s: npt.ArrayLike,
) -> Floats:
    """The warm element ΔP at which the element reaches its terminal on the coldest start.

    Only for a position whose bypass must stay shut at start-up: many sound elements bypass briefly when
    cold. Never above the warm terminal.

    >>> float(cold_start_terminal_bar(2.0, 30.0, 300.0))
    0.2
    """
    terminal = np.asarray(terminal_element_dp_bar, dtype=np.float64)
    thinning = np.asarray(warm_viscosity_mm2_s, dtype=np.float64) / np.asarray(coldest_viscosity_mm2_s)
    return np.asarray(terminal * np.minimum(thinning, 1.0))
