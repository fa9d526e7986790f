"""What the ΔP readings of a position say of its gauge, its sensors, its oil and a new element, in words."""

from collections.abc import Callable, Mapping
from typing import Any

from scheduler.vocabulary import QuantityKind
from service.due.amounts import Amounts, between, degC

Facts = Mapping[str, Any]


def _new_element(words: Amounts, numbers: Facts) -> str:
    """What was read, what it is at the warm state, and what a new one would show there."""
    read = " and ".join(words.dp(bar) for bar in numbers["read_bar"])
    return (
        f"The element fitted on {words.date(numbers['fitted_day'])} showed {read} from "
        f"{words.date(numbers['first_day'])} on: {words.dp(numbers['shows_bar'])} at the usual flow and "
        f"{degC(words, numbers['warm_degC'])}, where a new one shows {words.dp(numbers['expected_bar'])}"
    )


def _grade(numbers: Facts) -> str:
    if numbers["grade"] is None:
        return ""
    return f" Oil of ISO VG {numbers['grade']} would show as much with a sound element."


def _too_little(words: Amounts, numbers: Facts) -> str:
    return (
        f"{_new_element(words, numbers)} and {words.dp(max(numbers['least_bar'], 0.0))} at the least. Oil may pass "
        f"it.{_grade(numbers)} Check first: the element's seat and seal, the part number, the bypass, then the gauge "
        "and whether the noted temperature is the oil's."
    )


def _too_much(words: Amounts, numbers: Facts) -> str:
    return (
        f"{_new_element(words, numbers)} and {words.dp(numbers['most_bar'])} at the most.{_grade(numbers)} Check "
        "first: the part number and its fineness, packing left in the housing, air, then the oil's grade, the flow, "
        "the gauge and whether the noted temperature is the oil's."
    )


def _dead_gauge(words: Amounts, numbers: Facts) -> str:
    states = []
    if numbers["coldest_degC"] is not None:
        degC = numbers["coldest_degC"], numbers["warmest_degC"]
        states.append(f"oil at {between(words, *degC, QuantityKind.TEMPERATURE)}")
    if numbers["least_flow_lpm"] is not None:
        flow_lpm = numbers["least_flow_lpm"], numbers["most_flow_lpm"]
        states.append(f"a flow of {between(words, *flow_lpm, QuantityKind.FLOW)}")
    told = f" with {' and '.join(states)}" if states else ""
    should = between(
        *(words, numbers["should_least_bar"], numbers["should_most_bar"]), QuantityKind.PRESSURE_DIFFERENCE
    )
    whose = "even a new element" if numbers["shown_bar"] <= 0.0 else "the element"
    return (
        f"ΔP was {words.dp(numbers['shown_bar'])} at each of {numbers['readings']} readings from "
        f"{words.date(numbers['first_day'])} to {words.date(numbers['at_day'])}{told}, where {whose} would show "
        f"{should}. Check first: whether the machine ran when it was read, the gauge's valves and tappings, then the "
        "gauge or transmitter itself; after that, whether an element is in the housing."
    )


def _cold_oil(words: Amounts, numbers: Facts) -> str:
    return (
        f"ΔP as read rose from {words.dp(numbers['before_bar'])} about {words.date(numbers['before_day'])} to "
        f"{words.dp(numbers['now_bar'])} on {words.date(numbers['at_day'])} because the oil is colder, "
        f"{degC(words, numbers['now_degC'])} against {degC(words, numbers['before_degC'])}: at "
        f"{degC(words, numbers['warm_degC'])} it would be {words.dp(numbers['restated_now_bar'])}, before "
        f"{words.dp(numbers['restated_before_bar'])}. The rise is cold oil, not dirt. Check first: the tank heater, "
        "the cooler and its valve."
    )


def _exponent(words: Amounts, numbers: Facts) -> str:
    return (
        f"{numbers['exponent']:.2f} (± {numbers['se']:.2f}) by {numbers['readings']} readings from "
        f"{words.date(numbers['first_day'])} to {words.date(numbers['at_day'])}"
    )


def _by_viscosity(words: Amounts, numbers: Facts) -> str:
    degC = between(words, numbers["coldest_degC"], numbers["warmest_degC"], QuantityKind.TEMPERATURE)
    exponent = numbers["exponent"]
    if exponent < 0.5:
        means = "It hardly follows the temperature that is noted: that is likely not the temperature of this oil."
    elif exponent < 1.0:
        means = (
            "It follows less than an element does: the noted temperature swings more than the oil's, or a housing "
        )
        means += "or valve takes much of the ΔP."
    else:
        means = (
            "It follows more than an element does: the noted temperature swings less than the oil's in the filter."
        )
    return (
        f"ΔP goes with the oil's viscosity to the power {_exponent(words, numbers)}, noted oil at {degC}; an "
        f"element's goes with the power 1. {means} Restated readings and the due date suffer. Check first: where the "
        "temperature is taken and whether it is right; then the oil, by its viscosity at 40 °C. A neighbouring "
        "viscosity grade of the same kind changes the power by less than 0.1."
    )


def _by_flow(words: Amounts, numbers: Facts) -> str:
    flow = between(words, numbers["least_flow_lpm"], numbers["most_flow_lpm"], QuantityKind.FLOW)
    return (
        f"ΔP goes with the flow to the power {_exponent(words, numbers)}, at {flow}; an element's goes with the "
        "power 1 and a restriction's with 2. Most of what is read is not the element's. Check first: valves, "
        "fittings and check valves between the two tappings, the housing's ΔP as stated, and the flow reading."
    )


def _not_by_flow(words: Amounts, numbers: Facts) -> str:
    flow = between(words, numbers["least_flow_lpm"], numbers["most_flow_lpm"], QuantityKind.FLOW)
    return (
        f"ΔP goes with the flow to the power {_exponent(words, numbers)}, at {flow}; an element's goes with the "
        "power 1. What is noted as the flow is likely not the flow through this filter. Check first: which line the "
        "flow is measured in, the flow meter, and branches between it and the filter."
    )


def _two_levels(words: Amounts, numbers: Facts) -> str:
    return (
        f"ΔP goes to and fro between about {words.dp(numbers['low_bar'])} ({numbers['low_readings']} of "
        f"{numbers['readings']} readings) and {words.dp(numbers['high_bar'])}, {numbers['crossings']} times from "
        f"{words.date(numbers['first_day'])} to {words.date(numbers['at_day'])}: {numbers['times']:g} times as much "
        "at one oil temperature, as with a flow that comes and goes. The flow is not noted. Check first: what the "
        "pump and the valves do when it is read; read always in the same state of the machine, or note the flow."
    )


READING_DIAGNOSES: dict[str, Callable[[Amounts, Facts], str]] = {
    "new-element-shows-too-little": _too_little,
    "new-element-shows-too-much": _too_much,
    "gauge-shows-nothing": _dead_gauge,
    "oil-cold-not-dirt": _cold_oil,
    "restated-dp-follows-viscosity": _by_viscosity,
    "dp-follows-flow-squared": _by_flow,
    "dp-ignores-flow": _not_by_flow,
    "dp-jumps-between-two-levels": _two_levels,
}
