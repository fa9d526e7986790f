"""What a calibration says, in words: how forecasts fared, and what is done about it."""

from scheduler.statistics.beta_map import forecast_level

_WORTH_A_WORD = 0.02
"""Smaller moves of a point of the distribution are not spoken of (ours)."""


def says(lives_at_limit: int, lives_early: int, band_share: float | None, a: float, b: float) -> str:
    """One line for a type."""
    lives = f"{lives_at_limit} lives to the limit and {lives_early} changed early"
    held = (
        ""
        if band_share is None
        else f": {100.0 * band_share:.0f} % of ends lie within the 80 % band as first forecast"
    )
    return f"{lives}{held}. {_correction(a, b)}"


def _correction(a: float, b: float) -> str:
    early, middle, late = (forecast_level(level, a, b) for level in (0.1, 0.5, 0.9))
    wider, later = late - early - 0.8, middle - 0.5
    words = []
    if abs(wider) >= _WORTH_A_WORD:
        words.append("widened" if wider > 0.0 else "narrowed")
    if abs(later) >= _WORTH_A_WORD:
        words.append("shifted later" if later > 0.0 else "shifted earlier")
    if not words:
        return "Forecasts stay as they are."
    points = f"the 10, 50 and 90 % points told are their {100 * early:.0f}, {100 * middle:.0f} and {100 * late:.0f} %"
    return f"Forecasts are {' and '.join(words)}: {points} points."
