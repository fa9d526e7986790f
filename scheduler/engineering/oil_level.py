"""What a look at the oil level says, how much may be poured, and when it would be too much.

The level is read with the system at rest, single-acting cylinders retracted and accumulators discharged, the
position that the maker defines: a raised cylinder holds oil that comes back, and a running pump and the lines hold
more. Between the low mark and the top of the indicator the level is good. All of this is common practice, no source;
the system's own sheet governs. A look in any other state is kept, with the reason why it counts for nothing.
"""

from dataclasses import dataclass
from math import isfinite


@dataclass(frozen=True, slots=True)
class LevelSeen:
    """What a look is worth. missing_L: up to full, None where it is not known; below 0 it is overfull.

    why_not: why the look does not count, None where it does.
    """

    valid: bool
    missing_L: float | None
    why_not: str | None


@dataclass(frozen=True, slots=True)
class Room:
    """How much may be poured at most, and the sentence for the card."""

    most_L: float
    says: str


def level_check(
    *,
    at_rest: bool | None,
    defined_position: bool | None,
    reservoir_volume_L: float,
    level_pct: float | None = None,
    below_full_L: float | None = None,
) -> LevelSeen:
    """What a look at the level says.

    level_pct: of the reservoir's volume at the full mark. below_full_L: litres below the full mark. Give one of the
    two, or neither where only the look was reported. at_rest, defined_position: None where nobody said, which counts
    for nothing, as No does. Raises ValueError for both given, a level outside 0 to 200 %, a volume not above 0, and
    more missing than there is.

    >>> level_check(at_rest=True, defined_position=True, reservoir_volume_L=200.0, level_pct=95.0).missing_L
    10.0
    """
    _refuse_volume(reservoir_volume_L)
    why_not = _why_not(at_rest, defined_position)
    if level_pct is not None and below_full_L is not None:
        raise ValueError(f"a level of {level_pct} % and one of {below_full_L} L below full; give one of them")
    if level_pct is not None:
        if not 0.0 <= level_pct <= 200.0:
            raise ValueError(f"level {level_pct} % is outside 0 to 200 % of the full reservoir")
        below_full_L = reservoir_volume_L * (100.0 - level_pct) / 100.0
    if below_full_L is not None and not -reservoir_volume_L <= below_full_L <= reservoir_volume_L:
        raise ValueError(f"{below_full_L} L below full is more than the reservoir's {reservoir_volume_L} L")
    if why_not is not None:
        return LevelSeen(valid=False, missing_L=None, why_not=why_not)
    return LevelSeen(valid=True, missing_L=below_full_L, why_not=None)


def most_to_add(seen: LevelSeen, reservoir_volume_L: float, cylinders_L: float | None = None) -> Room:
    """How much may be poured without passing full.

    cylinders_L: oil that may come back from cylinders and accumulators that are not in the defined position; it only
    matters for a look that is not valid, and the reservoir must have room for it. After a look that is not valid, or
    that says no litres, nothing is poured: look again. Raises ValueError for a volume not above 0, cylinders below 0.

    >>> most_to_add(LevelSeen(True, 12.0, None), 200.0).most_L
    12.0
    """
    _refuse_volume(reservoir_volume_L)
    if cylinders_L is not None and not (cylinders_L >= 0.0 and isfinite(cylinders_L)):
        raise ValueError(f"cylinders' volume {cylinders_L} L is not finite and at least 0")
    if not seen.valid:
        back = "how much the cylinders and accumulators hold is not known"
        if cylinders_L is not None:
            back = f"up to {cylinders_L:g} L may come back from cylinders and accumulators"
        return Room(0.0, f"Pour nothing yet: {seen.why_not}; {back}. Look again, then top up.")
    if seen.missing_L is None:
        return Room(0.0, "Pour nothing yet: how far the level is below full was not told. Read it, then top up.")
    if seen.missing_L <= 0.0:
        over = f" and {-seen.missing_L:g} L above it" if seen.missing_L < 0.0 else ""
        return Room(0.0, f"Pour nothing: the level is at full{over}.")
    return Room(
        seen.missing_L,
        f"At most {seen.missing_L:g} L, up to the full mark of {reservoir_volume_L:g} L; pour slowly, and look again "
        "at rest.",
    )


def overfill(poured_L: float, seen: LevelSeen, reservoir_volume_L: float) -> str | None:
    """The refusal of a pour that passes full, None where it does not or where that cannot be told.

    Even without a valid look more than the whole reservoir is too much. Raises ValueError for litres not above 0.

    >>> (overfill(30.0, LevelSeen(True, 12.0, None), 200.0) or "").split(";")[0]
    'Do not pour 30 L: 12 L are missing to full, 18 L would be too much'
    """
    _refuse_volume(reservoir_volume_L)
    if not (poured_L > 0.0 and isfinite(poured_L)):
        raise ValueError(f"{poured_L} L poured is not finite and above 0")
    if seen.valid and seen.missing_L is not None:
        if poured_L <= seen.missing_L:
            return None
        missing_L = max(seen.missing_L, 0.0)
        return (
            f"Do not pour {poured_L:g} L: {missing_L:g} L are missing to full, {poured_L - seen.missing_L:g} L would "
            "be too much; warm oil and returning cylinders need room."
        )
    if poured_L > reservoir_volume_L:
        return f"Do not pour {poured_L:g} L: the whole reservoir holds {reservoir_volume_L:g} L."
    return None


def _why_not(at_rest: bool | None, defined_position: bool | None) -> str | None:
    """Both reasons, where both hold: who looks again should mend both."""
    reasons = []
    if not at_rest:
        reasons.append("the system was running" if at_rest is False else "nobody said that the system was at rest")
    if not defined_position:
        reasons.append(
            "cylinders were not in the defined position"
            if defined_position is False
            else "nobody said that cylinders were in the defined position"
        )
    return " and ".join(reasons) or None


def _refuse_volume(reservoir_volume_L: float) -> None:
    if not (reservoir_volume_L > 0.0 and isfinite(reservoir_volume_L)):
        raise ValueError(f"reservoir volume {reservoir_volume_L} L is not finite and above 0")
