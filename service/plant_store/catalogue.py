"""Master data: plants, systems with their oils, element types, positions, alternates and stops."""

from collections.abc import Sequence

import numpy as np
import sqlalchemy as sa

from scheduler.engineering.cleanliness_code import Code
from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_properties import oil_properties
from scheduler.planning import plant_columns as columns
from scheduler.vocabulary import Access, Answer, ElementKind, FluidFamily, Place, Status
from service.plant_folder import tables as t
from service.plant_folder.money import minor_digits
from service.plant_store.codes import Codes
from service.plant_store.rows import Row, days, every, filled, flags, floats, indices, offsets, texts

_DEFAULT_HORIZON_D = 42.0


def load_plants(rows: Sequence[Row]) -> columns.PlantRows:
    return columns.PlantRows(
        code=texts(rows, "plant"),
        zone=texts(rows, "time_zone"),
        currency=texts(rows, "currency"),
        risk=floats(rows, "risk"),
        horizon_d=filled(rows, "horizon_d", _DEFAULT_HORIZON_D),
        issue_ahead_d=floats(rows, "issue_ahead_d"),
    )


def fluid_of(row: Row) -> Fluid:
    """A row of `fluids` as the planner's fluid."""
    family = FluidFamily(row["family"]) if row["family"] else None
    return Fluid(code=row["fluid"], name=row["name"], family=family, grade=row["grade"])


def load_systems(
    rows: Sequence[Row], codes: Codes, fluids: dict[str, Row], currency: Sequence[str]
) -> columns.SystemRows:
    """`currency` is that of each plant."""
    plant = indices(codes.plants[row["plant"]] for row in rows)
    paid_in = [currency[row] for row in plant]
    oils = [fluids[row["fluid"]] for row in rows]
    return columns.SystemRows(
        code=texts(rows, "system"),
        plant=plant,
        status=tuple(Status(row["status"] or Status.IN_SERVICE) for row in rows),
        fluid=tuple(fluid_of(oil) for oil in oils),
        oil=tuple(
            oil_properties(
                viscosity_40_mm2_s=oil["viscosity_40_mm2_s"],
                grade=oil["grade"],
                viscosity_100_mm2_s=oil["viscosity_100_mm2_s"],
                viscosity_index=oil["viscosity_index"],
                density_15_kg_m3=oil["density_15_kg_m3"],
            )
            for oil in oils
        ),
        water_saturation_20_ppm=floats(oils, "water_saturation_20_ppm"),
        working_temperature_degC=floats(rows, "working_temperature_degC"),
        coldest_start_degC=floats(rows, "coldest_start_degC"),
        hours_per_week=floats(rows, "hours_per_week"),
        reservoir_volume_L=floats(rows, "reservoir_volume_L"),
        working_pressure_bar=floats(rows, "working_pressure_bar"),
        most_sensitive=texts(rows, "most_sensitive"),
        cleanliness_target=tuple(
            Code.parse(row["cleanliness_target"]) if row["cleanliness_target"] else None for row in rows
        ),
        stop_cost=_amounts(rows, "stop_cost_minor", paid_in),
        labour_cost=_amounts(rows, "labour_cost_minor", paid_in),
        late_cost=_amounts(rows, "late_cost_minor", paid_in),
    )


def load_types(rows: Sequence[Row]) -> columns.ElementTypeRows:
    return columns.ElementTypeRows(
        part_number=texts(rows, "part_number"),
        kind=tuple(ElementKind(row["kind"]) for row in rows),
        seals=texts(rows, "seals"),
        seal_kit=texts(rows, "seal_kit"),
        clean_dp_bar=floats(rows, "clean_dp_bar"),
        rated_flow_lpm=floats(rows, "rated_flow_lpm"),
        rated_viscosity_mm2_s=floats(rows, "rated_viscosity_mm2_s"),
        shelf_life_d=floats(rows, "shelf_life_d"),
        rating_um=floats(rows, "rating_um"),
        beta=np.array([_beta(row["beta"]) for row in rows], dtype=np.float64),
        capacity_g=floats(rows, "capacity_g"),
        price=_amounts(rows, "price_minor", texts(rows, "currency")),
        currency=texts(rows, "currency"),
    )


def load_curves(connection: sa.Connection, codes: Codes) -> columns.ElementCurves:
    points = sa.select(t.element_curves).order_by(t.element_curves.c.part_number, t.element_curves.c.retained_g)
    rows = [row for row in every(connection, points) if row["part_number"] in codes.types]
    of_type = indices(codes.types[row["part_number"]] for row in rows)
    order = np.argsort(of_type, kind="stable")
    return columns.ElementCurves(
        offsets=offsets(of_type, len(codes.types)),
        retained_g=floats(rows, "retained_g")[order],
        dp_bar=floats(rows, "dp_bar")[order],
    )


def _amounts(rows: Sequence[Row], name: str, currency: Sequence[str]) -> columns.Floats:
    """Money kept in minor units as amounts of its currency."""
    return floats(rows, name) / np.array([10.0 ** minor_digits(code) for code in currency], dtype=np.float64)


def _beta(told: str | None) -> float:
    """β at the rating, where the sheet's text is a plain number; a text that says more is not guessed at."""
    try:
        beta = float(told or "nan")
    except ValueError:
        return float("nan")
    return beta if 1.0 < beta < float("inf") else float("nan")


def load_positions(rows: Sequence[Row], codes: Codes) -> columns.PositionRows:
    has_no_bypass = flags(row["bypass"] == Answer.NO for row in rows)
    return columns.PositionRows(
        code=texts(rows, "position"),
        system=indices(codes.systems[row["system"]] for row in rows),
        meter=indices(codes.meters[row["system"], row["meter"] or ""] for row in rows),
        place=tuple(Place(row["place"]) for row in rows),
        specified_type=indices(codes.types[row["part_number"]] for row in rows),
        quantity=indices(row["quantity"] or 1 for row in rows),
        housing=texts(rows, "housing"),
        side=texts(rows, "side"),
        status=tuple(Status(row["status"] or Status.IN_SERVICE) for row in rows),
        access=tuple(Access(row["access"] or Access.STOPPED) for row in rows),
        flow_lpm=floats(rows, "flow_lpm"),
        terminal_dp_bar=floats(rows, "terminal_dp_bar"),
        indicator_dp_bar=floats(rows, "indicator_dp_bar"),
        bypass_dp_bar=np.where(has_no_bypass, np.nan, floats(rows, "bypass_dp_bar")),
        housing_dp_bar=floats(rows, "housing_dp_bar"),
        vacuum_limit_bar=floats(rows, "vacuum_limit_bar"),
        inlet_head_m=floats(rows, "inlet_head_m"),
        shut_at_start=flags(row["shut_at_start"] == Answer.YES for row in rows),
        max_hours=floats(rows, "max_hours"),
        max_age_d=floats(rows, "max_age_d"),
    )


def load_stops(connection: sa.Connection, codes: Codes) -> columns.StopRows:
    rows = [
        row
        for row in every(connection, sa.select(t.stops).order_by(t.stops.c.starts_at))
        if row["plant"] or row["system"] in codes.systems
    ]
    return columns.StopRows(
        plant=indices(codes.plants.get(row["plant"], -1) for row in rows),
        system=indices(codes.systems.get(row["system"], -1) for row in rows),
        start_day=days(rows, "starts_at"),
        end_day=days(rows, "ends_at"),
    )


def load_alternates(connection: sa.Connection) -> dict[str, tuple[str, ...]]:
    ranked = sa.select(t.alternates).order_by(
        t.alternates.c.part_number, t.alternates.c.rank.is_(None), t.alternates.c.rank
    )
    found: dict[str, tuple[str, ...]] = {}
    for row in every(connection, ranked):
        found[row["part_number"]] = (*found.get(row["part_number"], ()), row["alternate"])
    return found
