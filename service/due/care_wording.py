"""Diagnoses of what jobs found and of the oil's care, in words."""

from collections.abc import Callable

from scheduler.vocabulary import Found
from service.due.contamination_wording import Dates, Facts

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


def _spent(words: Dates, numbers: Facts) -> str:
    seen = " and ".join(str(each).replace("_", " ") for each in numbers["found"])
    return (
        f"The breather showed {seen} on {words.date(numbers['at_day'])} and was left in: change it, and clean the "
        "lid around it first."
    )


def _found(what: str, check: str) -> Callable[[Dates, Facts], str]:
    return lambda words, numbers: f"{what} on {words.date(numbers['at_day'])}. {check}"


def _level_not_valid(words: Dates, numbers: Facts) -> str:
    return (
        f"The level noted on {words.date(numbers['at_day'])} does not count: {numbers['why_not']}. "
        "Look again at rest and in the defined position."
    )


def _level_low(words: Dates, numbers: Facts) -> str:
    return (
        f"{numbers['missing_L']:g} L of {numbers['fluid']} are missing to full (reservoir "
        f"{numbers['reservoir_L']:g} L; {_looked(words, numbers)}). "
        "Top up through a filter with the specified oil, and find out where it went."
    )


def _overfilled(words: Dates, numbers: Facts) -> str:
    return (
        f"{-numbers['missing_L']:g} L too much are in the reservoir of {numbers['reservoir_L']:g} L "
        f"({_looked(words, numbers)}): warm oil and returning cylinders need room. Look at rest, and draw off what "
        "is too much into a clean, marked container."
    )


def _looked(words: Dates, numbers: Facts) -> str:
    since = f", {numbers['poured_L']:g} L poured since" if numbers["poured_L"] else ""
    return f"level of {words.date(numbers['at_day'])}{since}"


def _loss_rising(words: Dates, numbers: Facts) -> str:
    before, after = numbers["before"], numbers["after"]
    return (
        f"The system loses {after[1]:g} L a week since about {words.date(numbers['since_day'])} (80 % band "
        f"{after[0]:g} to {after[2]:g}), after {before[1]:g} L a week ({before[0]:g} to {before[2]:g}); by "
        f"{numbers['top_ups']} top-ups. Look for the leak with card or wood, never by hand: hoses, rod "
        "seals, cooler, drip trays."
    )


_EVENT_WORDS = {
    "pump_failure": "The pump failed",
    "hose_burst": "A hose burst",
    "water_ingress": "Water came in",
    "overheated": "The oil overheated",
}


def _check_after(words: Dates, numbers: Facts) -> str:
    what = _EVENT_WORDS[numbers["event"]]
    return (
        f"{what} on {words.date(numbers['at_day'])}: the checks that follow such an event are not recorded as done."
    )


def _flush(words: Dates, numbers: Facts) -> str:
    return (
        f"The system was commissioned on {words.date(numbers['at_day'])} and no flush is recorded since: flush it, "
        "then fit new elements; their first interval is short."
    )


def _clean_up(_words: Dates, numbers: Facts) -> str:
    return (
        f"Counts at {numbers['size_um_c']} µm(c) stand at {numbers['now_per_mL']:,.0f} per mL, above the "
        f"{numbers['limit_per_mL']:,.0f} of target {numbers['target']}: run {numbers['through']} "
        f"({numbers['flow_lpm']:g} L/min, β {numbers['beta']:g}) for about {numbers['low_h']:.1f} to "
        f"{numbers['high_h']:.1f} h, then sample. By the well-mixed balance it were {numbers['ideal_h']:.1f} h; real "
        "tanks take 2 to 5 times as long, and dirt that comes in meanwhile is not counted."
    )


CARE_DIAGNOSES: dict[str, Callable[[Dates, Facts], str]] = {
    "level-not-valid": _level_not_valid,
    "oil-level-low": _level_low,
    "overfilled": _overfilled,
    "oil-loss-rising": _loss_rising,
    **{f"check-after-{kind.replace('_', '-')}": _check_after for kind in _EVENT_WORDS},
    "flush-after-commissioning": _flush,
    "clean-up-off-line": _clean_up,
    "metal-found": _metal,
    "breather-spent": _spent,
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
