"""The known word nearest to a mistyped one."""

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST_COMPARED = 60
_LENGTHS_APART = 4


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` was probably meant to be, or None where nothing is near.

    >>> nearest("oil_temprature", ["oil_temperature", "flow"])
    'oil_temperature'
    """
    if len(word) > _LONGEST_COMPARED:
        return None
    candidates = [other for other in known if abs(len(other) - len(word)) <= _LENGTHS_APART]
    by_folded = {other.casefold(): other for other in sorted(candidates)}  # sets have no order of their own
    if word.casefold() in by_folded:
        return by_folded[word.casefold()]
    found = get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`; did you mean 'x'?`, or nothing."""
    near = nearest(word, known)
    return f"; did you mean '{near}'?" if near is not None else ""
