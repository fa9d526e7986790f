"""A close-out in a person's words on the command line, as the API's body."""

from collections.abc import Mapping
from typing import Any

import typer

from scheduler.vocabulary import UNIT_SYMBOLS, IndicatorState, QuantityKind

_INDICATOR_STATES = frozenset(state.value for state in IndicatorState)
_VACUUM = "vacuum "
_READING = (
    ("dp", QuantityKind.PRESSURE_DIFFERENCE),
    ("flow", QuantityKind.FLOW),
    ("oil_temperature", QuantityKind.TEMPERATURE),
)


def close_out_body(
    at: str | None,
    dp_before: str | None,
    dp_after: str | None,
    element: str | None,
    lot: str | None,
    serial: str | None,
    parts: list[str] | None,
    oil: list[str] | None,
    level: str | None,
    confirm: str | None,
    plain: Mapping[str, Any],
) -> dict[str, Any]:
    """Only what was said; the service knows the rest, or keeps it. `plain` is told as it stands.

    Raises BadParameter naming what cannot be read.
    """
    fitted = {"part_number": element, "lot": lot, "serial": serial}
    fitted = {name: value for name, value in fitted.items() if value is not None}
    body = {name: value for name, value in ({**plain, "at": at}).items() if value is not None}
    for name, reading in (("dp_before", reading_words(dp_before)), ("dp_after", reading_words(dp_after))):
        if reading is not None:
            body[name] = reading
    if fitted:
        body["element"] = fitted
    if parts:
        body["parts"] = [_part(text) for text in parts]
    if oil:
        body["oil"] = [_oil(text) for text in oil]
    if level is not None:
        body["level"] = level_words(level)
    if confirm is not None:
        body["confirm_mismatch"] = {"reason": confirm}
    return body


def reading_words(text: str | None) -> dict[str, Any] | None:
    """'2.1 bar, 180 L/min, 51 degC' as a reading: each unit says what its number is.

    A vacuum is told as 'vacuum 0.2 bar', the indicator by its state: clear, tripped or reset.

    >>> reading_words("2.1 bar, 51 degC")
    {'dp': {'value': 2.1, 'unit': 'bar'}, 'oil_temperature': {'value': 51.0, 'unit': 'degC'}}
    """
    if text is None:
        return None
    reading: dict[str, Any] = {}
    for part in text.split(","):
        said = part.strip()
        if said in _INDICATOR_STATES:
            reading["indicator"] = said
            continue
        value, unit = _amount(said.removeprefix(_VACUUM))
        name = next((name for name, kind in _READING if unit in UNIT_SYMBOLS[kind]), None)
        if name == "dp" and said.startswith(_VACUUM):
            name = "vacuum"
        if name is None:
            known = ", ".join(symbol for _, kind in _READING for symbol in UNIT_SYMBOLS[kind])
            raise typer.BadParameter(f"'{unit}' is none of the units of a ΔP reading: {known}")
        if name in reading:
            raise typer.BadParameter(f"'{text}' says {name.replace('_', ' ')} twice")
        reading[name] = {"value": value, "unit": unit}
    if not reading.keys() & {"dp", "vacuum", "indicator"}:
        raise typer.BadParameter(f"'{text}' has no ΔP, vacuum or indicator; like '2.1 bar, 180 L/min, 51 degC'")
    return reading


_AT_REST, _IN_POSITION, _BELOW_FULL = "at rest", "in position", " below full"


def level_words(text: str) -> dict[str, Any]:
    """'85 %, at rest, in position', or '12 L below full, …'; what is not said was not so.

    >>> level_words("85 %, at rest")
    {'level': {'value': 85.0, 'unit': '%'}, 'at_rest': True, 'defined_position': False}
    """
    seen: dict[str, Any] = {}
    conditions = []
    for part in (part.strip() for part in text.split(",")):
        if part in (_AT_REST, _IN_POSITION):
            conditions.append(part)
            continue
        value, unit = _amount(part.removesuffix(_BELOW_FULL))
        seen["below_full" if part.endswith(_BELOW_FULL) else "level"] = {"value": value, "unit": unit}
    return seen | {"at_rest": _AT_REST in conditions, "defined_position": _IN_POSITION in conditions}


def volume_words(text: str | None) -> dict[str, Any] | None:
    """'20 L' as the wire has it; which units there are is the API's to say.

    >>> volume_words("20 L")
    {'value': 20.0, 'unit': 'L'}
    """
    if text is None:
        return None
    value, unit = _amount(text)
    return {"value": value, "unit": unit}


def _amount(text: str) -> tuple[float, str]:
    number, _, unit = text.strip().partition(" ")
    try:
        return float(number), unit.strip()
    except ValueError:
        raise typer.BadParameter(f"'{text.strip()}' is not a number and a unit, like '2.1 bar'") from None


def _part(text: str) -> dict[str, Any]:
    part_number, *rest = text.split(":")
    part: dict[str, Any] = {"part_number": part_number}
    if rest and rest[0]:
        if not rest[0].isdigit():
            raise typer.BadParameter(f"'{rest[0]}' in '{text}' is not a number of pieces")
        part["quantity"] = int(rest[0])
    if len(rest) > 1 and rest[1]:
        part["lot"] = rest[1]
    return part


def _oil(text: str) -> dict[str, Any]:
    fluid, *rest = text.split(":")
    if not rest:
        raise typer.BadParameter(f"'{text}' has no amount; like 'OIL-46:4 L'")
    value, unit = _amount(rest[0])
    oil: dict[str, Any] = {"fluid": fluid, "volume": {"value": value, "unit": unit}}
    if len(rest) > 1 and rest[1]:
        oil["lot"] = rest[1]
    return oil
