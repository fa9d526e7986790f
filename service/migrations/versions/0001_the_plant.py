"""The plant.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alternates",
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("alternate", sa.Text(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("part_number", "alternate", name=op.f("pk_alternates")),
    )
    op.create_table(
        "fluids",
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("family", sa.Text(), nullable=True),
        sa.Column("grade", sa.Integer(), nullable=True),
        sa.Column("viscosity_40_mm2_s", sa.Double(), nullable=True),
        sa.Column("viscosity_100_mm2_s", sa.Double(), nullable=True),
        sa.Column("viscosity_index", sa.Double(), nullable=True),
        sa.Column("density_15_kg_m3", sa.Double(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("fluid", name=op.f("pk_fluids")),
    )
    op.create_table(
        "parts",
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("price_minor", sa.BigInteger(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("lead_time_d", sa.Double(), nullable=True),
        sa.Column("shelf_life_d", sa.Double(), nullable=True),
        sa.Column("pack", sa.Integer(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("part_number", name=op.f("pk_parts")),
    )
    op.create_table(
        "plants",
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("display_units", sa.Text(), nullable=True),
        sa.Column("altitude_m", sa.Double(), nullable=True),
        sa.Column("risk", sa.Double(), nullable=True),
        sa.Column("horizon_d", sa.Double(), nullable=True),
        sa.Column("issue_ahead_d", sa.Double(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("plant", name=op.f("pk_plants")),
    )
    op.create_table(
        "stops",
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("starts_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("starts_at_is_date", sa.Boolean(), nullable=False),
        sa.Column("ends_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("ends_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("plant", "system", "starts_at", name=op.f("pk_stops")),
    )
    op.create_table(
        "element_types",
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("media", sa.Text(), nullable=True),
        sa.Column("clean_dp_bar", sa.Double(), nullable=True),
        sa.Column("rated_flow_lpm", sa.Double(), nullable=True),
        sa.Column("rated_viscosity_mm2_s", sa.Double(), nullable=True),
        sa.Column("rating_um", sa.Double(), nullable=True),
        sa.Column("beta", sa.Text(), nullable=True),
        sa.Column("capacity_g", sa.Double(), nullable=True),
        sa.Column("capacity_dp_bar", sa.Double(), nullable=True),
        sa.Column("collapse_dp_bar", sa.Double(), nullable=True),
        sa.Column("cleanable", sa.Text(), nullable=True),
        sa.Column("max_cleanings", sa.Integer(), nullable=True),
        sa.Column("seals", sa.Text(), nullable=True),
        sa.Column("seal_kit", sa.Text(), nullable=True),
        sa.Column("price_minor", sa.BigInteger(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("lead_time_d", sa.Double(), nullable=True),
        sa.Column("shelf_life_d", sa.Double(), nullable=True),
        sa.Column("pack", sa.Integer(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["seal_kit"], ["parts.part_number"], name=op.f("fk_element_types_seal_kit")),
        sa.PrimaryKeyConstraint("part_number", name=op.f("pk_element_types")),
    )
    op.create_table(
        "systems",
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("status", sa.Text(), nullable=True),
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("reservoir_volume_L", sa.Double(), nullable=False),
        sa.Column("pump_flow_lpm", sa.Double(), nullable=True),
        sa.Column("working_pressure_bar", sa.Double(), nullable=True),
        sa.Column("working_temperature_degC", sa.Double(), nullable=True),
        sa.Column("coldest_start_degC", sa.Double(), nullable=True),
        sa.Column("cleanliness_target", sa.Text(), nullable=True),
        sa.Column("most_sensitive", sa.Text(), nullable=True),
        sa.Column("hours_per_week", sa.Double(), nullable=True),
        sa.Column("stop_cost_minor", sa.BigInteger(), nullable=True),
        sa.Column("labour_cost_minor", sa.BigInteger(), nullable=True),
        sa.Column("late_cost_minor", sa.BigInteger(), nullable=True),
        sa.Column("hazards", sa.JSON(), nullable=True),
        sa.Column("isolation_procedure", sa.Text(), nullable=True),
        sa.Column("permits", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["fluid"], ["fluids.fluid"], name=op.f("fk_systems_fluid")),
        sa.ForeignKeyConstraint(["plant"], ["plants.plant"], name=op.f("fk_systems_plant")),
        sa.PrimaryKeyConstraint("system", name=op.f("pk_systems")),
    )
    op.create_table(
        "element_curves",
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("retained_g", sa.Double(), nullable=False),
        sa.Column("dp_bar", sa.Double(), nullable=False),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(
            ["part_number"], ["element_types.part_number"], name=op.f("fk_element_curves_part_number")
        ),
        sa.PrimaryKeyConstraint("part_number", "retained_g", name=op.f("pk_element_curves")),
    )
    op.create_table(
        "meters",
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("meter", sa.Text(), nullable=False),
        sa.Column("digits", sa.Integer(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_meters_system")),
        sa.PrimaryKeyConstraint("system", "meter", name=op.f("pk_meters")),
    )
    op.create_table(
        "positions",
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=True),
        sa.Column("housing", sa.Text(), nullable=True),
        sa.Column("side", sa.Text(), nullable=True),
        sa.Column("meter", sa.Text(), nullable=True),
        sa.Column("flow_lpm", sa.Double(), nullable=True),
        sa.Column("terminal_dp_bar", sa.Double(), nullable=True),
        sa.Column("indicator_dp_bar", sa.Double(), nullable=True),
        sa.Column("indicator_kind", sa.Text(), nullable=True),
        sa.Column("bypass", sa.Text(), nullable=True),
        sa.Column("bypass_dp_bar", sa.Double(), nullable=True),
        sa.Column("housing_dp_bar", sa.Double(), nullable=True),
        sa.Column("vacuum_limit_bar", sa.Double(), nullable=True),
        sa.Column("inlet_head_m", sa.Double(), nullable=True),
        sa.Column("shut_at_start", sa.Text(), nullable=True),
        sa.Column("max_hours", sa.Double(), nullable=True),
        sa.Column("max_age_d", sa.Double(), nullable=True),
        sa.Column("access", sa.Text(), nullable=True),
        sa.Column("housing_volume_L", sa.Double(), nullable=True),
        sa.Column("torque_Nm", sa.Double(), nullable=True),
        sa.Column("status", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(
            ["part_number"], ["element_types.part_number"], name=op.f("fk_positions_part_number")
        ),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_positions_system")),
        sa.PrimaryKeyConstraint("position", name=op.f("pk_positions")),
    )
    op.create_table(
        "kit_lines",
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["position"], ["positions.position"], name=op.f("fk_kit_lines_position")),
        sa.PrimaryKeyConstraint("position", "part_number", name=op.f("pk_kit_lines")),
    )
