"""What the description shows of master data: one thing of each kind, invented."""

from typing import Any

A_SYSTEM: dict[str, Any] = {
    "plant": "MILL",
    "fluid": "HM46",
    "reservoir_volume": {"value": 400, "unit": "L"},
    "pump_flow": {"value": 180, "unit": "L/min"},
    "working_temperature": {"value": 52, "unit": "degC"},
    "external_ref": "A-10-0417",
}
A_POSITION: dict[str, Any] = {
    "system": "PRESS1",
    "place": "return",
    "part_number": "E-10",
    "flow": {"value": 180, "unit": "L/min"},
    "terminal_dp": {"value": 2.5, "unit": "bar"},
    "max_hours": {"value": 4000, "unit": "h"},
    "external_ref": "A-10-0417/3",
}
AN_ELEMENT_TYPE: dict[str, Any] = {
    "kind": "element",
    "description": "return element, 10 um",
    "rating": {"value": 10, "unit": "um"},
    "capacity": {"value": 95, "unit": "g"},
    "price": 61.5,
    "currency": "EUR",
    "external_ref": "M-2207",
}
A_FLUID: dict[str, Any] = {
    "name": "hydraulic oil 46",
    "grade": 46,
    "viscosity_40": {"value": 45.8, "unit": "mm2/s"},
    "external_ref": "M-0046",
}


def _shown(example: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {"application/json": {"example": example}}}}


def _page(item: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    return _shown({"items": [item], "next": None})


def _told(item: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    changed = {"external_ref": {"earlier": None, "new": item["external_ref"]}}
    shown = _shown({"is_new": False, "changed": changed, "item": item, "remarks": []})
    return shown | {201: {"description": "It is new"}, 412: {"description": "It is not as the conditions say"}}


SYSTEM = _shown({"system": "PRESS1"} | A_SYSTEM)
SYSTEMS = _page({"system": "PRESS1"} | A_SYSTEM)
SYSTEM_TOLD = _told({"system": "PRESS1"} | A_SYSTEM)
POSITION = _shown({"position": "PRESS1-RET"} | A_POSITION)
POSITIONS = _page({"position": "PRESS1-RET"} | A_POSITION)
POSITION_TOLD = _told({"position": "PRESS1-RET"} | A_POSITION)
ELEMENT_TYPE = _shown({"part_number": "E-10"} | AN_ELEMENT_TYPE)
ELEMENT_TYPES = _page({"part_number": "E-10"} | AN_ELEMENT_TYPE)
ELEMENT_TYPE_TOLD = _told({"part_number": "E-10"} | AN_ELEMENT_TYPE)
FLUID = _shown({"fluid": "HM46"} | A_FLUID)
FLUIDS = _page({"fluid": "HM46"} | A_FLUID)
FLUID_TOLD = _told({"fluid": "HM46"} | A_FLUID)
