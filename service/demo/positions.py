"""Every position of the demo plant by code, and the rows they make in a plant folder."""

from service.demo.heavy_presses import HEAVY_PRESSES
from service.demo.records import DemoPosition, Row
from service.demo.workshop import WORKSHOP

POSITIONS: dict[str, DemoPosition] = {position.code: position for position in (*HEAVY_PRESSES, *WORKSHOP)}


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
            "status": "in_service",
        }
        for position in POSITIONS.values()
    ]
