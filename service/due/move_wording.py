"""Why a due date moved, in words: the planner's causes with their numbers, in the plant's zone and units."""

from collections.abc import Callable, Mapping
from typing import Any

from scheduler.vocabulary import CANONICAL_UNIT, QuantityKind
from service.due.wording import Wording, percentage
from service.plant_folder import layout
from service.plant_store.time import from_day

Facts = Mapping[str, Any]

_WORDED = frozenset(
    {QuantityKind.PRESSURE_DIFFERENCE, QuantityKind.VACUUM, QuantityKind.TEMPERATURE}
    | {QuantityKind.VOLUME, QuantityKind.FLOW}
)

_FACT_WORDS = {
    "installations": "The installation fitted on",
    "dp_readings": "The ΔP reading of",
    "meter_readings": "The meter reading of",
    "events": "The event of",
    "oil_samples": "The oil sample of",
}
_OWNER_WORDS = {
    "plants": "of the plant",
    "systems": "of the system",
    "fluids": "of the oil",
    "element_types": "of the element type",
    "positions": "of the position",
}


def says_why(words: Wording, cause: Facts) -> str:
    """The sentence of one cause."""
    return _CAUSES[cause["code"]](words, cause["facts"])


def _element_changed(words: Wording, facts: Facts) -> str:
    when = facts.get("removed_at_day", facts["fitted_day"])
    reason = facts.get("reason", "unknown")
    why = "" if reason == "unknown" else f" ({reason})"
    return (
        f"The element was changed on {words.date(when)}{why}: {_what_is_fitted(facts)} sits here since "
        f"{words.date(facts['fitted_day'])}, the one before since {words.date(facts['was_fitted_day'])}."
    )


def _fitting_corrected(words: Wording, facts: Facts) -> str:
    return (
        f"What is fitted sits here since {words.date(facts['fitted_day'])}, not since "
        f"{words.date(facts['was_fitted_day'])}: the record of the change was corrected."
    )


def _element_fitted(words: Wording, facts: Facts) -> str:
    return f"{_what_is_fitted(facts)} is known to be fitted since {words.date(facts['fitted_day'])}."


def _what_is_fitted(facts: Facts) -> str:
    lot = f" (lot {facts['lot']})" if "lot" in facts else ""
    return f"{facts.get('part_number', 'another one')}{lot}"


def _element_removed(words: Wording, facts: Facts) -> str:
    when = f" on {words.date(facts['removed_at_day'])}" if "removed_at_day" in facts else ""
    return f"The element was taken out{when}; nothing is known to be fitted since."


def _corrected(words: Wording, facts: Facts) -> str:
    table = facts["table"]
    changes = ", ".join(
        f"{_name(table, each['column'])} from {_shown(words, table, each['column'], each['earlier'])} to "
        f"{_shown(words, table, each['column'], each['new'])}"
        for each in facts["changes"]
    )
    return f"{_FACT_WORDS[table]} {words.date(facts['at_day'])} was corrected: {changes}."


def _readings(words: Wording, facts: Facts) -> str:
    names = (
        "dp_bar",
        "vacuum_bar",
        "upstream_bar",
        "downstream_bar",
        "flow_lpm",
        "oil_temperature_degC",
        "indicator",
    )
    shown = ", ".join(
        f"{_name('dp_readings', name)} {_shown(words, 'dp_readings', name, facts[name])}"
        for name in names
        if name in facts
    )
    counted = facts["counted"]
    if facts["count"] == 1:
        count = "A ΔP reading was recorded" + ("" if counted else ", which does not count")
    else:
        count = f"{facts['count']} ΔP readings were recorded, of which {counted} count; the newest"
    return f"{count}: {shown} on {words.date(facts['at_day'])}."


def _tripped(words: Wording, facts: Facts) -> str:
    temperature = facts.get("trip_oil_temperature_degC")
    oil = "" if temperature is None else f" with the oil at {words.amount(temperature, QuantityKind.TEMPERATURE)}"
    times = "" if facts["trips"] == 1 else f", {facts['trips']} times since the last reset"
    return f"The indicator was seen tripped on {words.date(facts['trip_day'])}{oil}{times}."


def _meter(words: Wording, facts: Facts) -> str:
    newest = f"{facts['hours']:,.0f} h on {words.date(facts['at_day'])}"
    count = "A meter reading was" if facts["count"] == 1 else f"{facts['count']} meter readings were"
    then = "" if "to_hours_per_week" not in facts else f"; the machine is reckoned to run {_rate(facts)}"
    lead = ": " if facts["count"] == 1 else ", the newest "
    return f"{count} recorded{lead}{newest}{then}."


def _rate(facts: Facts) -> str:
    return f"about {facts['to_hours_per_week']:.1f} h a week instead of {facts['from_hours_per_week']:.1f} h"


def _use_rate(_words: Wording, facts: Facts) -> str:
    return f"The machine is reckoned to run {_rate(facts)}."


def _changeover(_words: Wording, facts: Facts) -> str:
    now = "rests now and gains no hours" if facts["resting"] else "is in service now and gains hours"
    return f"This side of the duplex housing {now}."


def _events(words: Wording, facts: Facts) -> str:
    kind = facts["kind"].replace("_", " ")
    times = "" if facts["count"] == 1 else f", the newest of {facts['count']}"
    return f"An event was recorded: {kind} on {words.date(facts['at_day'])}{times}."


def _samples(words: Wording, facts: Facts) -> str:
    counts = [
        f"{facts[name]:,g} /mL" for name in ("count_4_per_mL", "count_6_per_mL", "count_14_per_mL") if name in facts
    ]
    says = facts.get("code") or ", ".join(counts) or "no particle count"
    times = "An oil sample was" if facts["count"] == 1 else f"{facts['count']} oil samples were"
    newest = ":" if facts["count"] == 1 else ", the newest:"
    return f"{times} recorded{newest} {says} on {words.date(facts['at_day'])}."


def _master_data(words: Wording, facts: Facts) -> str:
    table, column = facts["table"], facts["column"]
    key = f" {facts['key']}" if "key" in facts else ""
    earlier, new = (_shown(words, table, column, facts[side]) for side in ("earlier", "new"))
    name = _name(table, column)
    return f"{name[:1].upper()}{name[1:]} {_OWNER_WORDS[table]}{key} was changed from {earlier} to {new}."


def _risk(_words: Wording, facts: Facts) -> str:
    now, before = (
        f"{percentage(facts[f'{when}_risk'])} ({_SOURCE_WORDS[facts[f'{when}_source']]})" for when in ("to", "from")
    )
    return f"The accepted risk is {now} now, and was {before}."


_SOURCE_WORDS = {"set": "set by the plant", "costs": "from the costs of its system", "usual": "the usual one"}


def _stops(_words: Wording, facts: Facts) -> str:
    return "A stop was entered." if facts["count"] == 1 else f"{facts['count']} stops were entered."


def _lives(_words: Wording, facts: Facts) -> str:
    if facts["to_lives_seen"] == facts["from_lives_seen"]:
        return (
            f"Half of such lives are expected to last {facts['to_life_median_h']:,.0f} h instead of "
            f"{facts['from_life_median_h']:,.0f} h."
        )
    return (
        f"Earlier lives of this type: {facts['to_lives_seen']} are known ({facts['to_lives_to_limit']} to the limit) "
        f"instead of {facts['from_lives_seen']} ({facts['from_lives_to_limit']}); half last "
        f"{facts['to_life_median_h']:,.0f} h instead of {facts['from_life_median_h']:,.0f} h."
    )


def _time(words: Wording, facts: Facts) -> str:
    new = "Nothing new is recorded" if not facts["beside"] else "Nothing that decides here is new"
    return f"{new}; only time passed: {facts['days']:,.1f} d since {words.date(facts['from_day'])}."


_CAUSES: dict[str, Callable[[Wording, Facts], str]] = {
    "first_told": lambda _words, _facts: "The position is planned for the first time; its history begins here.",
    "out_of_service": lambda _words, _facts: "The position is no longer in service.",
    "element_changed": _element_changed,
    "element_fitted": _element_fitted,
    "fitting_corrected": _fitting_corrected,
    "element_removed": _element_removed,
    "corrected": _corrected,
    "tripped": _tripped,
    "dp_readings": _readings,
    "events": _events,
    "oil_samples": _samples,
    "master_data": _master_data,
    "risk": _risk,
    "stops": _stops,
    "meter_readings": _meter,
    "use_rate": _use_rate,
    "changeover": _changeover,
    "lives": _lives,
    "time": _time,
}


def _column(table: str, field: str) -> layout.Column | None:
    """The column of the plant folder that a field comes from; a moment is kept as its day."""
    names = {field, field.removesuffix("_day")}
    return next((column for column in layout.TABLE[table].columns if column.field in names), None)


def _name(table: str, field: str) -> str:
    column = _column(table, field)
    name = field if column is None else column.name
    return {"dp": "ΔP"}.get(name, name.replace("_", " ").replace(" dp", " ΔP"))


def _shown(words: Wording, table: str, field: str, value: Any) -> str:
    """A value as a person reads it; an import tells numbers as they are written."""
    if value in (None, ""):
        return "nothing"
    column = _column(table, field)
    cell = None if column is None else column.cell
    if isinstance(cell, layout.Quantity):
        number = float(value)
        if cell.kind in _WORDED:
            return words.amount(number, cell.kind)
        return f"{number:,g} {CANONICAL_UNIT[cell.kind]}"
    if isinstance(cell, layout.Moment):
        return f"{from_day(float(value)).astimezone(words.zone):%Y-%m-%d %H:%M}"
    return str(value).replace("_", " ") if isinstance(cell, layout.Choice) else str(value)
