"""The facts of the plant, with their versions.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("on_hand", sa.Integer(), nullable=False),
        sa.Column("counted_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("counted_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("bin", sa.Text(), nullable=True),
        sa.Column("expires_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("expires_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock")),
    )
    with op.batch_alter_table("stock", schema=None) as batch_op:
        batch_op.create_index("ix_stock_versions", ["part_number", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_stock_holds_now",
            ["part_number", "store", "lot"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "oil_stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("container_L", sa.Double(), nullable=False),
        sa.Column("on_hand", sa.Double(), nullable=False),
        sa.Column("counted_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("counted_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("opened_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("opened_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("expires_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("expires_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fluid"], ["fluids.fluid"], name=op.f("fk_oil_stock_fluid")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_stock")),
    )
    with op.batch_alter_table("oil_stock", schema=None) as batch_op:
        batch_op.create_index("ix_oil_stock_versions", ["fluid", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_oil_stock_holds_now",
            ["fluid", "store", "lot", "container_L"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "supply",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order", sa.Text(), nullable=False),
        sa.Column("line", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=True),
        sa.Column("fluid", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Double(), nullable=False),
        sa.Column("expected_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("expected_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("received_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("received_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fluid"], ["fluids.fluid"], name=op.f("fk_supply_fluid")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supply")),
    )
    with op.batch_alter_table("supply", schema=None) as batch_op:
        batch_op.create_index("ix_supply_versions", ["order", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_supply_holds_now",
            ["order", "line"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_events_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_events")),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.create_index("ix_events_versions", ["system", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_events_holds_now",
            ["system", "at", "kind", "position"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "level_checks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("level_pct", sa.Double(), nullable=True),
        sa.Column("volume_below_full_L", sa.Double(), nullable=True),
        sa.Column("at_rest", sa.Text(), nullable=False),
        sa.Column("defined_position", sa.Text(), nullable=False),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_level_checks_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_level_checks")),
    )
    with op.batch_alter_table("level_checks", schema=None) as batch_op:
        batch_op.create_index("ix_level_checks_versions", ["system", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_level_checks_holds_now",
            ["system", "at"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "meter_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("meter", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("hours", sa.Double(), nullable=False),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_meter_readings_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meter_readings")),
    )
    with op.batch_alter_table("meter_readings", schema=None) as batch_op:
        batch_op.create_index("ix_meter_readings_versions", ["system", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_meter_readings_holds_now",
            ["system", "meter", "at", "kind"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "oil_samples",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("point", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("count_4_per_mL", sa.Double(), nullable=True),
        sa.Column("count_6_per_mL", sa.Double(), nullable=True),
        sa.Column("count_14_per_mL", sa.Double(), nullable=True),
        sa.Column("water_ppm", sa.Double(), nullable=True),
        sa.Column("water_saturation_pct", sa.Double(), nullable=True),
        sa.Column("viscosity_40_mm2_s", sa.Double(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_oil_samples_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_samples")),
    )
    with op.batch_alter_table("oil_samples", schema=None) as batch_op:
        batch_op.create_index("ix_oil_samples_versions", ["system", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_oil_samples_holds_now",
            ["system", "at", "point", "position"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "top_ups",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("volume_L", sa.Double(), nullable=False),
        sa.Column("through_filter", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fluid"], ["fluids.fluid"], name=op.f("fk_top_ups_fluid")),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_top_ups_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_top_ups")),
    )
    with op.batch_alter_table("top_ups", schema=None) as batch_op:
        batch_op.create_index("ix_top_ups_versions", ["system", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_top_ups_holds_now",
            ["system", "at", "fluid"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "dp_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("dp_bar", sa.Double(), nullable=True),
        sa.Column("upstream_bar", sa.Double(), nullable=True),
        sa.Column("downstream_bar", sa.Double(), nullable=True),
        sa.Column("vacuum_bar", sa.Double(), nullable=True),
        sa.Column("flow_lpm", sa.Double(), nullable=True),
        sa.Column("oil_temperature_degC", sa.Double(), nullable=True),
        sa.Column("indicator", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["position"], ["positions.position"], name=op.f("fk_dp_readings_position")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dp_readings")),
    )
    with op.batch_alter_table("dp_readings", schema=None) as batch_op:
        batch_op.create_index("ix_dp_readings_versions", ["position", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_dp_readings_holds_now",
            ["position", "at", "stage"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )

    op.create_table(
        "installations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("fitted_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("fitted_at_is_date", sa.Boolean(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("fitted_hours", sa.Double(), nullable=True),
        sa.Column("removed_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("removed_at_is_date", sa.Boolean(), nullable=True),
        sa.Column("removed_hours", sa.Double(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("cleanings", sa.Integer(), nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["part_number"], ["element_types.part_number"], name=op.f("fk_installations_part_number")
        ),
        sa.ForeignKeyConstraint(["position"], ["positions.position"], name=op.f("fk_installations_position")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installations")),
    )
    with op.batch_alter_table("installations", schema=None) as batch_op:
        batch_op.create_index("ix_installations_versions", ["position", "recorded_at"], unique=False)
        batch_op.create_index(
            "uq_installations_holds_now",
            ["position", "fitted_at"],
            unique=True,
            sqlite_where=sa.text("superseded_at IS NULL"),
            postgresql_where=sa.text("superseded_at IS NULL"),
        )
