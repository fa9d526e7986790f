"""Reasons and diagnoses in words: the planner's codes and numbers, in the plant's zone and units.

Numbers, not adjectives: a technician should be able to check the sentence at the machine.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.units import from_canonical
from scheduler.vocabulary import DisplayUnits, QuantityKind
from service.due.care_wording import CARE_DIAGNOSES
from service.due.cleanliness_wording import CLEANLINESS_DIAGNOSES, by_cleanliness
from service.due.contamination_wording import CONTAMINATION_DIAGNOSES
from service.due.reading_wording import READING_DIAGNOSES
from service.due.system_wording import SYSTEM_DIAGNOSES
from service.plant_store.time import from_day

Facts = Mapping[str, Any]

_US_UNIT = {
    QuantityKind.PRESSURE_DIFFERENCE: "psi",
    QuantityKind.VACUUM: "inHg",
    QuantityKind.TEMPERATURE: "degF",
    QuantityKind.VOLUME: "gal",
    QuantityKind.FLOW: "gpm",
}
_METRIC_UNIT = {
    QuantityKind.PRESSURE_DIFFERENCE: "bar",
    QuantityKind.VACUUM: "bar",
    QuantityKind.TEMPERATURE: "degC",
    QuantityKind.VOLUME: "L",
    QuantityKind.FLOW: "L/min",
}
_PRINTED = {"degC": "°C", "degF": "°F"}
_DIGITS = {"bar": 2, "psi": 1, "inHg": 1, "degC": 0, "degF": 0, "L": 1, "gal": 1, "L/min": 0, "gpm": 1}

_EVENT_WORDS = {
    "commissioned": "commissioning",
    "pump_failure": "pump failure",
}
_GATE_WORDS = {
    "impossible": "impossible",
    "change_day": "on a day of change",
    "no_flow": "with no flow",
    "bypass_open": "at the bypass setting",
    "cold_bypass": "at the bypass setting with cold oil",
    "low_flow": "at low flow",
    "cold": "with cold oil",
}
_AT_A_RISK = frozenset({"pressure", "life", "hours"})
"""Codes of triggers whose date is a chance; the others are days."""

_BOUND_WORDS = {"least": ", the least that is planned with", "most": ", the most that is planned with"}
_TERMINAL_WORDS = {
    "stated": "the plant's limit",
    "indicator": "the indicator's set point",
    "share_of_bypass": "75 % of the bypass setting",
    "unknown": "the limit",
}


@dataclass(frozen=True, slots=True)
class Wording:
    """Words for one plant."""

    zone: ZoneInfo
    display_units: DisplayUnits

    def reason(self, because: Facts) -> str:
        """The sentence behind a due date."""
        facts = because["facts"]
        says = _REASONS[because["code"]](self, facts)
        return " ".join(said for said in (says, self._rate(facts), _risk(because["code"], facts)) if said)

    def why_work(self, because: Facts) -> str:
        """The sentence behind a task: a due date's reason, or the diagnosis that asks for a look."""
        code = because["code"]
        if code == "unplanned":
            return "Done without a work order."
        if code in _REASONS:
            return self.reason(because)
        return self.diagnosis(code, because["facts"])

    def diagnosis(self, code: str, numbers: Facts) -> str:
        """The sentence of a diagnosis, with what to check first."""
        return _DIAGNOSES[code.split(":", maxsplit=1)[0]](self, numbers)

    def date(self, day: float) -> str:
        return from_day(day).astimezone(self.zone).date().isoformat()

    def amount(self, value: float, kind: QuantityKind) -> str:
        unit = (_US_UNIT if self.display_units is DisplayUnits.US else _METRIC_UNIT)[kind]
        shown = from_canonical(value, unit, kind)
        return f"{shown:,.{_DIGITS[unit]}f} {_PRINTED.get(unit, unit)}"

    def dp(self, value_bar: float) -> str:
        return self.amount(value_bar, QuantityKind.PRESSURE_DIFFERENCE)

    def vacuum(self, value_bar: float) -> str:
        return self.amount(value_bar, QuantityKind.VACUUM)

    def _rate(self, facts: Facts) -> str:
        if facts.get("resting"):
            return "Its side of the duplex housing rests and gains no hours."
        if "hours_per_week" not in facts:
            return ""
        source = "" if facts["meter_known"] else " (no meter readings: an assumption)"
        return f"The machine runs about {facts['hours_per_week']:.0f} h a week{source}."


def _risk(code: str, facts: Facts) -> str:
    """At which risk the date is due, and why that; nothing where no chance is weighed."""
    if code not in _AT_A_RISK or "risk_from" not in facts:
        return ""
    bound = _BOUND_WORDS.get(facts.get("risk_bound", ""), "")
    return f"Due at {percentage(facts['risk'])} risk{bound}, {_where_from(facts)}."


def _where_from(facts: Facts) -> str:
    match facts["risk_from"]:
        case "set":
            return "as the plant has set it"
        case "usual":
            return "which is usual where neither a risk nor costs are told"
        case _:
            currency = f" {facts['currency']}" if "currency" in facts else ""
            planned, late = (f"{facts[name]:,.0f}{currency}" for name in ("planned_cost", "late_cost"))
            return f"from the costs of its system: {planned} for a planned change, {late} for a late one"


def percentage(share: float) -> str:
    """Two digits that count: 0.0123 is 1.2 %."""
    return f"{100.0 * share:.2g} %"


def _hours(value: float) -> str:
    return f"{value:,.0f} h"


def _band(facts: Facts) -> str:
    low, about, high = (facts.get(f"hours_left_{point}") for point in (10, "about", 90))
    if about is None:
        return "more run hours left than can be told" if low is None else f"more than {_hours(low)} left"
    upper = "open end" if high is None else _hours(high)
    return f"about {_hours(about)} left (80 % between {_hours(low or 0.0)} and {upper})"


def _fitted(words: Wording, facts: Facts) -> str:
    return f"fitted {words.date(facts['fitted_day'])}, {_hours(facts['run_h'])} run"


def _by_hours(words: Wording, facts: Facts) -> str:
    run, limit = facts["run_h"], facts["max_hours"]
    if run > limit:
        return f"The limit of {_hours(limit)} was passed by {_hours(run - limit)} ({_fitted(words, facts)})."
    left = _hours(limit - run)
    return f"{_hours(run)} of the permitted {_hours(limit)} are run, {left} are left ({_fitted(words, facts)})."


def _by_age(words: Wording, facts: Facts) -> str:
    ends = facts["fitted_day"] + facts["max_age_d"]
    return f"The permitted age of {facts['max_age_d']:,.0f} d ends on {words.date(ends)} ({_fitted(words, facts)})."


def _by_pressure(words: Wording, facts: Facts) -> str:
    if facts["is_vacuum"]:
        read = f"inlet vacuum {words.vacuum(facts['last_read_bar'])} on {words.date(facts['last_day'])}"
        limit = f"the limit is {words.vacuum(facts['vacuum_limit_bar'])}"
    else:
        read = f"ΔP {words.dp(facts['last_read_bar'])} on {words.date(facts['last_day'])}{_conditions(words, facts)}"
        limit = _limit(words, facts)
    past = facts["past_share"]
    outlook = f"the limit is already passed ({_sureness(past)})" if past >= 0.5 else _band(facts)
    left_out = _left_out(facts)
    count = "1 reading counts" if facts["readings"] == 1 else f"{facts['readings']} readings count"
    return f"{_capital(read)}; {limit}; {outlook}. {count}{left_out}; {_fitted(words, facts)}."


def _sureness(share: float) -> str:
    return "more than 99 % sure" if share > 0.99 else f"{100 * share:.0f} % sure"


def _limit(words: Wording, facts: Facts) -> str:
    if facts["terminal_rule"] == "cold_start":
        coldest = words.amount(facts["coldest_start_degC"], QuantityKind.TEMPERATURE)
        return (
            f"above {words.dp(facts['terminal_bar'])} the limit of {words.dp(facts['stated_terminal_bar'])} would be "
            f"passed on a start at {coldest}, and the bypass has to stay shut then"
        )
    return f"{_TERMINAL_WORDS[facts['terminal_rule']]} is {words.dp(facts['terminal_bar'])}"


def _conditions(words: Wording, facts: Facts) -> str:
    warm = facts.get("last_warm_bar")
    temperature = facts.get("last_oil_temperature_degC")
    at = "" if temperature is None else f" at {words.amount(temperature, QuantityKind.TEMPERATURE)}"
    if warm is None:
        return at
    reference = words.amount(facts["warm_oil_temperature_degC"], QuantityKind.TEMPERATURE)
    return f"{at}, which is {words.dp(warm)} at the usual flow and {reference}"


def _left_out(facts: Facts) -> str:
    gates = [f"{count} {_GATE_WORDS[name]}" for name, count in facts["gates"].items()]
    return f", left out: {', '.join(gates)}" if gates else ""


_PAST_TOLD_FROM = 0.05


def _by_life(words: Wording, facts: Facts) -> str:
    lives = facts["lives_seen"]
    if lives:
        known = f"{lives} earlier lives of this type, {facts['lives_to_limit']} of them to the limit"
    else:
        known = "no earlier life of this type is on record, so this is an assumption"
    past = facts["past_share"]
    perhaps = f"; past its limit by now with {percentage(past)}" if past >= _PAST_TOLD_FROM else ""
    return (
        f"No ΔP reading counts here{_left_out(facts)}; by {known}: half last {_hours(facts['life_median_h'])}; "
        f"{_band(facts)}{perhaps} ({_fitted(words, facts)})."
    )


def _by_indicator(words: Wording, facts: Facts) -> str:
    temperature = facts.get("trip_oil_temperature_degC")
    warm = (
        f"with the oil at {words.amount(temperature, QuantityKind.TEMPERATURE)}"
        if temperature is not None
        else "seen more than once"
    )
    times = "" if facts["trips"] == 1 else f", {facts['trips']} times since the last reset"
    return f"The indicator was tripped on {words.date(facts['trip_day'])} {warm}{times} ({_fitted(words, facts)})."


def _by_event(words: Wording, facts: Facts) -> str:
    event = _EVENT_WORDS[facts["event"]]
    return (
        f"After the {event} of {words.date(facts['event_day'])} what was in the circuit is changed after a "
        f"shortened interval (common practice) ({_fitted(words, facts)})."
    )


def _nothing_fitted(_words: Wording, _facts: Facts) -> str:
    return "Nothing is known to be fitted here: record what sits in the position and since when."


def _nothing_near(words: Wording, facts: Facts) -> str:
    return f"No trigger falls within 20 years ({_fitted(words, facts)})."


_REASONS: dict[str, Callable[[Wording, Facts], str]] = {
    "hours": _by_hours,
    "age": _by_age,
    "pressure": _by_pressure,
    "life": _by_life,
    "indicator": _by_indicator,
    "event": _by_event,
    "cleanliness": by_cleanliness,
    "nothing_fitted": _nothing_fitted,
    "nothing_within_20_years": _nothing_near,
}


def _wrong_oil(words: Wording, numbers: Facts) -> str:
    litres = words.amount(numbers["volume_L"], QuantityKind.VOLUME)
    return (
        f"{litres} of {numbers['poured']} were poured until {words.date(numbers['at_day'])}; specified is "
        f"{numbers['specified']}. {' '.join(numbers['differs'])} Keep the system out of service until a competent "
        "person has assessed it."
    )


def _wrong_element(_words: Wording, numbers: Facts) -> str:
    return (
        f"{numbers['fitted']} is fitted; specified is {numbers['specified']}, and it is no listed alternate. Keep "
        "the system out of service until a competent person has assessed it."
    )


def _unsuitable_seals(_words: Wording, numbers: Facts) -> str:
    return (
        f"{numbers['fitted']} is fitted. {' '.join(numbers['differs'])} Keep the system out of service until a "
        "competent person has assessed it."
    )


def _expired_element(words: Wording, numbers: Facts) -> str:
    return (
        f"The lot {numbers['lot']} of {numbers['fitted']} that is fitted had expired on "
        f"{words.date(numbers['expired_day'])}, before it was fitted. Keep the system out of service until a "
        "competent person has assessed its seals."
    )


def _bypass_open(words: Wording, numbers: Facts) -> str:
    return (
        f"Warm ΔP {words.dp(numbers['dp_bar'])} on {words.date(numbers['at_day'])} stands at the bypass setting of "
        f"{words.dp(numbers['bypass_dp_bar'])}: oil passes unfiltered. Check the gauge, then change the element."
    )


def _opens_when_cold(words: Wording, numbers: Facts) -> str:
    coldest = words.amount(numbers["coldest_start_degC"], QuantityKind.TEMPERATURE)
    return (
        f"The bypass is meant to stay shut at the start, but at {coldest} even a clean element of this type passes "
        f"{words.dp(numbers['limit_bar'])}. The start is not counted in the due date: check the element type, the "
        "flow at the start and the tank heater."
    )


def _fell(words: Wording, numbers: Facts) -> str:
    return (
        f"ΔP fell from {words.dp(numbers['before_bar'])} to {words.dp(numbers['after_bar'])} since "
        f"{words.date(numbers['since_day'])} and no change is on record. Check for a torn or unseated element, an "
        "open bypass, a missing seal, or a change that nobody wrote down."
    )


def _unconfirmed(words: Wording, numbers: Facts) -> str:
    return (
        f"The indicator was tripped on {words.date(numbers['at_day'])}, oil temperature unknown. Look again when the "
        "oil is warm: cold oil trips it on a sound element."
    )


def _near_vacuum(words: Wording, numbers: Facts) -> str:
    return (
        f"Inlet vacuum {words.vacuum(numbers['vacuum_bar'])} on {words.date(numbers['at_day'])}; the limit is "
        f"{words.vacuum(numbers['limit_bar'])}. Check the strainer, the suction valve and the oil's temperature; the "
        "pump maker's sheet governs."
    )


def _doubtful(words: Wording, numbers: Facts) -> str:
    meter = f"Meter {numbers['meter']}" if numbers["meter"] else "The meter"
    earlier = ""
    if numbers.get("earlier_h") is not None:
        earlier = f" after {numbers['earlier_h']:,.1f} h on {words.date(numbers['earlier_day'])}"
    return (
        f"{meter} was noted with {numbers['hours']:,.1f} h on {words.date(numbers['at_day'])}{earlier}: not used. "
        "Read it again; a new meter needs its first and the old one's last value."
    )


def _stands_still(words: Wording, numbers: Facts) -> str:
    meter = f"Meter {numbers['meter']}" if numbers["meter"] else "The meter"
    return (
        f"{meter} stands at {numbers['hours']:,.1f} h since {words.date(numbers['since_day'])} while ΔP readings "
        "with flow go on. Check the meter and its wiring."
    )


_DIAGNOSES: dict[str, Callable[[Wording, Facts], str]] = {
    **CLEANLINESS_DIAGNOSES,
    **CARE_DIAGNOSES,
    **CONTAMINATION_DIAGNOSES,
    **SYSTEM_DIAGNOSES,
    **READING_DIAGNOSES,
    "nothing-known-fitted": lambda _words, _numbers: "Nothing is known to be fitted: look, and record it.",
    "no-terminal-dp": lambda _words, _numbers: (
        "ΔP is read, but no terminal, indicator or bypass ΔP is stated, so it cannot be judged."
    ),
    "wrong-element-fitted": _wrong_element,
    "unsuitable-seals-fitted": _unsuitable_seals,
    "expired-element-fitted": _expired_element,
    "wrong-oil-poured": _wrong_oil,
    "bypass-open-warm": _bypass_open,
    "opens-on-a-cold-start": _opens_when_cold,
    "dp-fell-without-change": _fell,
    "trip-unconfirmed": _unconfirmed,
    "inlet-vacuum-near-limit": _near_vacuum,
    "meter-reading-doubtful": _doubtful,
    "meter-stands-still": _stands_still,
}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
