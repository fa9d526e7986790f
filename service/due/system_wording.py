"""Suction sides, cold starts, short lives and open bypasses in words."""

from collections.abc import Callable, Mapping
from typing import Any

from scheduler.vocabulary import QuantityKind
from service.due.amounts import Amounts, between, degC
from service.due.contamination_wording import what_is_missing

Facts = Mapping[str, Any]


_HIGHEST_VACUUM_BAR = 0.9
"""The pump is starved long before a full vacuum: what would be above is told as "more than" (ours)."""


def _too_high_when_cold(words: Amounts, numbers: Facts) -> str:
    cold_bar = numbers["cold_vacuum_bar"]
    more = cold_bar > _HIGHEST_VACUUM_BAR
    would = f"{'more than ' if more else 'about '}{words.vacuum(min(cold_bar, _HIGHEST_VACUUM_BAR))}"
    head = (
        "" if numbers["head_told"] else " The height of the oil above the inlet is not told: it is taken from them."
    )
    return (
        f"Inlet vacuum is {words.vacuum(numbers['warm_vacuum_bar'])} with warm oil by {numbers['readings']} readings "
        f"until {words.date(numbers['at_day'])}, but on a start at {degC(words, numbers['coldest_start_degC'])} it "
        f"would be {would}; the limit of {words.vacuum(numbers['limit_bar'])} is reached with the oil at about "
        f"{degC(words, numbers['limit_at_degC'])}.{head} Warm the oil above that before loading the pump. Check "
        "first: the strainer, the suction valve, the tank heater and the oil's grade."
    )


def _up_though_cleaned(words: Amounts, numbers: Facts) -> str:
    return (
        f"Inlet vacuum, restated to oil at {degC(words, numbers['warm_degC'])}, rose from "
        f"{words.vacuum(numbers['before_bar'])} to {words.vacuum(numbers['after_bar'])} until "
        f"{words.date(numbers['at_day'])} (give or take {words.vacuum(numbers['sd_bar'])}) although the strainer has "
        f"been clean since {words.date(numbers['cleaned_day'])}. Check first: the suction valve and hose, the oil "
        "level, air drawn in at joints and shaft seal, and whether the oil is colder or thicker than noted."
    )


def _opens_when_cold_only(words: Amounts, numbers: Facts) -> str:
    count = numbers["readings"]
    readings = "1 reading" if count == 1 else f"{count} readings"
    return (
        f"ΔP stood at the bypass setting of {words.dp(numbers['bypass_dp_bar'])} with cold oil ({readings} at "
        f"{_between(words, numbers)}, the last on {words.date(numbers['at_day'])}) and at "
        f"{words.dp(numbers['warm_dp_bar'])}{_at_warm(words, numbers)}: cold oil, no dirt, and no change is due for "
        f"it.{_wanted_shut(numbers)}{_shut_from(words, numbers)} Check first: warm the oil before loading, and look "
        "again with warm oil."
    )


def _trips_when_cold_only(words: Amounts, numbers: Facts) -> str:
    times = "once" if numbers["indicator_trips"] == 1 else f"{numbers['indicator_trips']} times"
    return (
        f"The indicator was tripped {times} with cold oil ({_between(words, numbers)}, the last on "
        f"{words.date(numbers['at_day'])}); with warm oil ΔP is {words.dp(numbers['warm_dp_bar'])}"
        f"{_at_warm(words, numbers)}: cold oil, no dirt, and no change is due for it. Check first: warm the oil "
        "before loading, reset the indicator, and look again with warm oil."
    )


def _between(words: Amounts, numbers: Facts) -> str:
    return between(words, numbers["coldest_degC"], numbers["warmest_degC"], QuantityKind.TEMPERATURE)


def _at_warm(words: Amounts, numbers: Facts) -> str:
    at = "" if numbers["warm_degC"] is None else f" at {degC(words, numbers['warm_degC'])}"
    return f"{at} on {words.date(numbers['warm_day'])}"


def _wanted_shut(numbers: Facts) -> str:
    if not numbers["wanted_shut"]:
        return ""
    return " The plant wants the bypass shut at the start: the due date counts that already."


def _shut_from(words: Amounts, numbers: Facts) -> str:
    from_degC = numbers["shut_from_degC"]
    if from_degC is None:
        return ""
    return f" By its warm ΔP the bypass stays shut from about {degC(words, from_degC)} on."


_CAUSE_WORDS = {
    "more_dirt": "More dirt seems to come in",
    "too_small": "The element seems too small for what it gets",
    "here_only": "Only this filter seems to get more dirt",
    "not_told": "Whether more dirt comes in or the element is too small is not known",
}
_CAUSE_CHECKS = {
    "more_dirt": "rod seals and wipers, the breather, open covers and how oil is topped up",
    "too_small": "the flow through the filter, what was added to the circuit, and the next larger element",
    "here_only": "what feeds this filter: a wearing pump or motor, a new branch, the flow; and whether the right "
    "element was fitted",
    "not_told": "the flow, rod seals, the breather, and a sample of the oil",
}


def _run_short(_words: Amounts, numbers: Facts) -> str:
    first, second = (f"{hours:,.0f} h" for hours in numbers["lives_h"])
    lives = (
        f"The element before lasted {first}, and this one will last at most about {second} by its ΔP"
        if numbers["second_runs"]
        else f"The last two elements lasted {first} and {second}"
    )
    told = [
        f"{numbers['others_short']} of {numbers['others']} other filters of the system run short as well"
        if numbers["others"]
        else "",
        f"the counts in the oil rose by half or more ({100.0 * numbers['counts_risen']:.0f} % sure)"
        if (numbers["counts_risen"] or 0.0) >= 0.5
        else "",
        f"the flow is {100.0 * numbers['flow_share']:.0f} % of what is rated"
        if numbers["flow_share"] is not None
        else "",
    ]
    because = ", ".join(each for each in told if each)
    return (
        f"{lives}; usual here are {numbers['usual_h']:,.0f} h, and nine in ten last {numbers['usual_10_h']:,.0f} h "
        f"or more: by chance that happens once in {1.0 / max(numbers['chance'], 1e-6):,.0f}. "
        f"{_CAUSE_WORDS[numbers['cause']]}{f' ({because})' if because else ''}. Check first: "
        f"{_CAUSE_CHECKS[numbers['cause']]}."
    )


def _dirty_clean_looking(words: Amounts, numbers: Facts) -> str:
    dirty = (
        f"The oil misses its target of {numbers['target']}" if numbers["target"] is not None else "The oil is dirtier"
    )
    missing = f" Not known: {what_is_missing(numbers['missing'])}." if numbers["missing"] else ""
    return (
        f"{dirty} (counts {numbers['times']:g} times those before {words.date(numbers['counts_since_day'])}) while "
        f"the element looks clean: {words.dp(numbers['dp_bar'])} warm of {words.dp(numbers['terminal_bar'])} after "
        f"{numbers['run_h']:,.0f} h of usually {numbers['life_h']:,.0f} h, where {100.0 * numbers['so_low']:.0f} % "
        f"of sound ones show so little. {100.0 * numbers['probability']:.0f} % sure that oil goes round it.{missing} "
        "Check first: the bypass valve (stuck open, dirt under its seat), then the element's seat and seal."
    )


SYSTEM_DIAGNOSES: dict[str, Callable[[Amounts, Facts], str]] = {
    "vacuum-too-high-when-cold": _too_high_when_cold,
    "vacuum-up-strainer-clean": _up_though_cleaned,
    "bypass-opens-when-cold-only": _opens_when_cold_only,
    "indicator-trips-when-cold-only": _trips_when_cold_only,
    "lives-run-short": _run_short,
    "dirty-oil-clean-element": _dirty_clean_looking,
}
