"""Diagnoses of what jobs found and of the oil's care, in words."""

from collections.abc import Callable

from scheduler.vocabulary import Found
from service.due.cleanliness_wording import Dates, Facts

_METAL_WORDS = {
    Found.METAL: "metal of a kind not told",
    Found.METAL_STEEL: "steel",
    Found.METAL_BRONZE: "bronze or brass",
    Found.METAL_ALUMINIUM: "aluminium",
}


def _metal(words: Dates, numbers: Facts) -> str:
    kinds = " and ".join(_METAL_WORDS[Found(each)] for each in numbers["found"])
    return (
        f"Metal was found on {words.date(numbers['at_day'])}: {kinds}. Something wears or has broken: stop, cut the "
        "old element open, look at pump, motors and valves, and keep the system out of service until a competent "
        "person has assessed it."
    )


def _found(what: str, check: str) -> Callable[[Dates, Facts], str]:
    return lambda words, numbers: f"{what} on {words.date(numbers['at_day'])}. {check}"


CARE_DIAGNOSES: dict[str, Callable[[Dates, Facts], str]] = {
    "metal-found": _metal,
    "element-collapsed": _found(
        "The old element was found collapsed",
        "Pieces may have gone downstream: find and remove them, and find out why the bypass did not open in time.",
    ),
    "wrong-part-found": _found(
        "A wrong part was found in the housing",
        "Look which one is in now, and how long oil went round with the other.",
    ),
    "bypass-had-opened": _found(
        "The element was found bypassed",
        "Oil went round unfiltered for a time: take a sample, and look at the bypass valve and its seat.",
    ),
    "water-found": _found(
        "Water was found", "Take a sample for water; look at the breather, the cooler, the rod seals and the lid."
    ),
    "varnish-found": _found(
        "Varnish was found",
        "Take a sample for ageing; look for hot spots, and at valves that stick after a standstill.",
    ),
    "seal-debris-found": _found(
        "Pieces of a seal were found", "Find the seal they come from, and whether the oil attacks its material."
    ),
    "fibres-found": _found(
        "Fibres were found", "Look for a torn element, and for rags used on open parts; use lint-free ones."
    ),
}
