"""Examples from schemas, in the words of one invented plant, so that no operation is without one.

An example that stands in a schema goes first: what is made here fits the schema and shows the shape, no more.
"""

import re
from typing import Any

Schema = dict[str, Any]

_MOMENT = "2026-03-05T14:30:00+01:00"
_WORDS: dict[str, str] = {
    "plant": "NORTH",
    "system": "PRESS1",
    "position": "PRESS1-RET",
    "positions": "PRESS1-RET",
    "part_number": "EL-10",
    "item": "EL-10",
    "lot": "L-2207",
    "fluid": "OIL-46",
    "fluid_lot": "D-1",
    "store": "MAIN",
    "bin": "A1",
    "note": "the crane is away until Monday",
    "why": "the valve block was in the way",
    "by": "planning desk",
    "name": "planning desk",
    "since": "last-week",
    "scopes": "read",
    "currency": "EUR",
    "separator": ",",
    "decimal": ".",
    "next": "WyJkdWUiLCAxMl0=",
    "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
}
_OTHER_WORDS = ("as it stands in the record", "12.50", "1", "2026-03-05")
_OF_FILES = {
    "text/html": "<!DOCTYPE html><title>Work order 12</title>",
    "text/csv": "item,unit\r\nEL-10,pieces\r\n",
}


class Examples:
    """Makes a value of a schema; `schemas` are those that references name."""

    def __init__(self, schemas: dict[str, Schema]) -> None:
        self._schemas = schemas

    def of(self, schema: Schema, media_type: str = "application/json") -> Any:
        """A value that fits the schema of a body of this type."""
        return _OF_FILES.get(media_type) or self._value(schema, "", ())

    def whole(self, schema: Schema, given: Any) -> Any:
        """A given example with the nulls that its schema requires: the framework drops each from a description."""
        if "$ref" in schema:
            schema = self._schemas[schema["$ref"].rpartition("/")[2]]
        kind = "object" if isinstance(given, dict) else "array" if isinstance(given, list) else None
        for choice in schema.get("anyOf", []) if kind is not None else []:
            if self._type_of(choice) == kind:
                return self.whole(choice, given)
        if isinstance(given, list):
            return [self.whole(schema.get("items", {}), each) for each in given]
        if not isinstance(given, dict):
            return given
        properties = schema.get("properties", {})
        more = schema.get("additionalProperties")
        of_others = more if isinstance(more, dict) else {}
        required = set(schema.get("required", ())) - set(given)
        missing = [name for name in properties if name in required and self._may_be_null(properties[name])]
        told = {name: self.whole(properties.get(name, of_others), each) for name, each in given.items()}
        return told | dict.fromkeys(missing)

    def _may_be_null(self, schema: Schema) -> bool:
        if "$ref" in schema:
            schema = self._schemas[schema["$ref"].rpartition("/")[2]]
        is_anything = not schema.keys() & {"type", "anyOf", "enum", "const"}
        return is_anything or {"type": "null"} in schema.get("anyOf", ())

    def _type_of(self, schema: Schema) -> Any:
        named = schema.get("$ref", "").rpartition("/")[2]
        return self._schemas[named].get("type") if named else schema.get("type")

    def _value(self, schema: Schema, name: str, inside: tuple[str, ...]) -> Any:
        if "$ref" in schema:
            reference = schema["$ref"].rpartition("/")[2]
            return self._value(self._schemas[reference], name, (*inside, reference))
        for given in ("const", "example"):
            if given in schema:
                return schema[given]
        for listed in ("examples", "enum"):
            if schema.get(listed):
                return schema[listed][0]
        for choices in ("anyOf", "oneOf", "allOf"):
            if choices in schema:
                return self._value(self._choice(schema[choices], inside), name, inside)
        return self._of_type(schema, name, inside)

    def _choice(self, choices: list[Schema], inside: tuple[str, ...]) -> Schema:
        """The first that is not null and does not lead into itself."""
        ends = [each for each in choices if each.get("$ref", "").rpartition("/")[2] not in inside]
        return next((each for each in ends if each != {"type": "null"}), choices[-1])

    def _of_type(self, schema: Schema, name: str, inside: tuple[str, ...]) -> Any:
        match schema.get("type"):
            case "object":
                return self._object(schema, inside)
            case "array":
                items = schema.get("items", {})
                leads_back = items.get("$ref", "").rpartition("/")[2] in inside
                return [] if leads_back else [self._value(items, name, inside)] * max(schema.get("minItems", 1), 1)
            case "string":
                return _text(schema, name)
            case "integer" | "number":
                return _number(schema)
            case "boolean":
                return False
            case _:
                return None

    def _object(self, schema: Schema, inside: tuple[str, ...]) -> Schema:
        made = {name: self._value(inner, name, inside) for name, inner in schema.get("properties", {}).items()}
        more = schema.get("additionalProperties")
        if not made and isinstance(more, dict):
            made = {"positions": self._value(more, "", inside)}
        return made


def _text(schema: Schema, name: str) -> str:
    if schema.get("format") == "date-time":
        return _MOMENT
    longest = schema.get("maxLength", 1000)
    for word in (_WORDS.get(name, _OTHER_WORDS[0]), *_OTHER_WORDS):
        fits = schema.get("minLength", 0) <= len(word) <= longest
        if fits and re.search(schema.get("pattern", ""), word):
            return word
    return ""


def _number(schema: Schema) -> float:
    lowest: float = max(schema.get("minimum", 0), schema.get("exclusiveMinimum", 0))
    highest: float = min(schema.get("maximum", lowest + 1), schema.get("exclusiveMaximum", lowest + 1))
    return highest if schema["type"] == "integer" else round((lowest + highest) / 2, 4)
