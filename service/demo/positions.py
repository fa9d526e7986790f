"""Every position of the demo plant by code, and the rows they make in a plant folder."""

from service.demo import cases
from service.demo.heavy_presses import HEAVY_PRESSES
from service.demo.records import DemoPosition, Row
from service.demo.workshop import WORKSHOP

POSITIONS: dict[str, DemoPosition] = {position.code: position for position in (*HEAVY_PRESSES, *WORKSHOP)}

_TEST_POINTS = {
    "PRESS1-PRS": "MP2, column left",
    "PRESS1-RET": "MP5, tank lid beside the housing",
    cases.VACUUM_NEAR_LIMIT: "MP1, outlet of main pump 1",
    "PRESS1-SUC2": "MP3, outlet of main pump 2",
    cases.WARM_BYPASS: "MP5, tank lid, rear",
    cases.DUPLEX_SIDES[0]: "MP7A, vent of side A",
    cases.DUPLEX_SIDES[1]: "MP7B, vent of side B",
    cases.DUE_BY_PRESSURE: "MP5, ladder side",
    cases.DROP_WITHOUT_CHANGE: "MP2, pit wall",
}
"""Where zero pressure is shown; the smaller machines of the demo have no point on record."""


def position_rows() -> list[Row]:
    return [
        {
            "position": position.code,
            "system": position.system,
            "place": position.place,
            "part_number": position.part_number,
            "quantity": position.quantity,
            "housing": position.housing,
            "side": position.side,
            "meter": position.meter or None,
            "flow": position.flow_lpm,
            "terminal_dp": position.terminal_dp_bar,
            "indicator_dp": position.indicator_dp_bar,
            "indicator_kind": position.indicator_kind,
            "bypass": position.bypass,
            "bypass_dp": position.bypass_dp_bar,
            "housing_dp": position.housing_dp_bar or None,
            "vacuum_limit": position.vacuum_limit_bar,
            "inlet_head": position.inlet_head_m,
            "shut_at_start": position.shut_at_start,
            "max_hours": position.max_hours,
            "max_age": position.max_age_d,
            "access": position.access,
            "housing_volume": position.housing_volume_L,
            "torque": position.torque_Nm,
            "test_point": _TEST_POINTS.get(position.code),
            "status": "in_service",
        }
        for position in POSITIONS.values()
    ]
