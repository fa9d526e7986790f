"""Why the oil got dirtier, what a service brought and what the water does, in words."""

from collections.abc import Callable, Mapping
from typing import Any, Protocol

Facts = Mapping[str, Any]


class Dates(Protocol):
    """Whoever writes a day in the plant's zone."""

    def date(self, day: float) -> str: ...


CAUSE_WORDS = {
    "nothing_wrong": "nothing has changed",
    "ingression": "more dirt comes in",
    "bypass": "oil goes round the element",
    "under_filtration": "less oil is filtered",
    "efficiency_loss": "the element lets more through",
}
_MISSING_WORDS = {
    "load_rate_by_dp": "ΔP readings before and since",
    "sample_downstream": "a sample behind the element",
}
_LIMIT_WORDS = {
    "sample": "as the samples tell it",
    "fluid": "of what the fluid dissolves at 20 °C",
    "typical": "of the usual 250 ppm of mineral oil at 20 °C (published: 200 to 300)",
}
_TOLD_FROM = 0.05


def of_causes(facts: Facts) -> str:
    """The causes by their chance, and what would tell more."""
    likely = sorted(facts["probability"].items(), key=lambda each: -each[1])
    told = ", ".join(f"{CAUSE_WORDS[name]} {100.0 * chance:.0f} %" for name, chance in likely if chance >= _TOLD_FROM)
    missing = f" Not known: {what_is_missing(facts['missing'])}." if facts["missing"] else ""
    return f"By the counts and {facts['position']}: {told}.{missing}"


def what_is_missing(names: list[str]) -> str:
    return " and ".join(_MISSING_WORDS[name] for name in names)


def _ingression_rising(words: Dates, numbers: Facts) -> str:
    missing = f" Not known: {what_is_missing(numbers['missing'])}." if numbers["missing"] else ""
    return (
        f"About {numbers['times']:g} times as much dirt comes in since {words.date(numbers['since_day'])} or so (80 "
        f"% band {numbers['times_10']:g} to {numbers['times_90']:g}), by {numbers['samples']} samples at "
        f"{numbers['size_um_c']} µm(c); {100.0 * numbers['probability']:.0f} % sure that it is this.{missing} Check "
        "rod seals and wipers, the breather, open covers, and how oil is topped up."
    )


def _efficiency_lost(words: Dates, numbers: Facts) -> str:
    stated = f", stated is {numbers['stated_beta']:g}" if numbers["stated_beta"] is not None else ""
    return (
        f"The element lets more through: β is about {numbers['beta']:g} at {numbers['size_um_c']} µm(c) by "
        f"{numbers['pairs']} pairs of samples until {words.date(numbers['at_day'])}{stated}; its ΔP does not say "
        "that oil goes round it. Check that it is the right element and whole; a new one and a pair of samples "
        "will show."
    )


def _service(words: Dates, numbers: Facts) -> str:
    changed = f" (changed: {', '.join(numbers['changed'])})" if numbers["changed"] else ""
    return f"after the service of {words.date(numbers['service_day'])}{changed}"


def _dirty_fill(words: Dates, numbers: Facts) -> str:
    if numbers["decays"]:
        return (
            f"Counts at {numbers['size_um_c']} µm(c) were {numbers['times']:g} times the usual "
            f"{_service(words, numbers)} and are {numbers['times_now']:g} times it now: they decay, as after a dirty "
            "fill. Filter new oil on its way in."
        )
    return (
        f"Counts at {numbers['size_um_c']} µm(c) are {numbers['times']:g} times the usual "
        f"{_service(words, numbers)}, by one sample: a dirty fill decays, an element that is not seated "
        "does not. Take another sample."
    )


def _not_seated(words: Dates, numbers: Facts) -> str:
    return (
        f"Counts at {numbers['size_um_c']} µm(c) are {numbers['times_now']:g} times the usual "
        f"{_service(words, numbers)} and do not decay, by {numbers['samples']} samples until "
        f"{words.date(numbers['at_day'])}. Check that the element is seated and its seal whole, and what stands open."
    )


def _water(words: Dates, numbers: Facts) -> str:
    samples = "1 sample" if numbers["samples"] == 1 else f"{numbers['samples']} samples"
    return (
        f"{numbers['level_pct']:g} % of saturation by {samples} until {words.date(numbers['at_day'])}, the last "
        f"{numbers['last_pct']:g} % ({_LIMIT_WORDS[numbers['limit_from']]})"
    )


def _water_high(words: Dates, numbers: Facts) -> str:
    free = " Water that no longer dissolves lies in the tank: draw it off." if numbers["free"] else ""
    return (
        f"Water stands at {_water(words, numbers)}; at or under 50 % is asked for.{free} Look for where it comes in: "
        "cooler, breather, rods, wash-down."
    )


def _water_rising(words: Dates, numbers: Facts) -> str:
    return (
        f"Water rises {numbers['times_a_year']:g} times a year ({100.0 * numbers['probability']:.0f} % sure that it "
        f"rises) and stands at {_water(words, numbers)}. Check cooler, breather and wipers before it is free water."
    )


CONTAMINATION_DIAGNOSES: dict[str, Callable[[Dates, Facts], str]] = {
    "ingression-rising": _ingression_rising,
    "efficiency-lost": _efficiency_lost,
    "dirty-fill": _dirty_fill,
    "not-seated": _not_seated,
    "water-high": _water_high,
    "water-rising": _water_rising,
}
