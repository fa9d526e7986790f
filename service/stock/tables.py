"""What moved since the last count, what was used that the books did not have, and supply that was put away."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

stock_movements = sa.Table(
    "stock_movements",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("part_number", sa.Text, nullable=False),
    sa.Column("store", sa.Text, nullable=False),
    sa.Column("lot", sa.Text, nullable=False),
    sa.Column("quantity", sa.Integer, nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("source", sa.Text, nullable=False),
)
sa.Index("ix_stock_movements_lot", *(stock_movements.c[c] for c in ("part_number", "store", "lot", "at")))

oil_movements = sa.Table(
    "oil_movements",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("fluid", sa.Text, nullable=False),
    sa.Column("store", sa.Text, nullable=False),
    sa.Column("lot", sa.Text, nullable=False),
    sa.Column("container_L", sa.Double, nullable=False),
    sa.Column("quantity", sa.Double, nullable=False),  # containers
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("source", sa.Text, nullable=False),
)

stock_discrepancies = sa.Table(
    "stock_discrepancies",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("part_number", sa.Text),
    sa.Column("fluid", sa.Text),
    sa.Column("lot", sa.Text, nullable=False),
    sa.Column("missing", sa.Double, nullable=False),  # pieces, or litres of a fluid
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("source", sa.Text, nullable=False),
)

receipts = sa.Table(
    "receipts",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("order", sa.Text, nullable=False),
    sa.Column("line", sa.Text, nullable=False),
    sa.Column("told", sa.JSON, nullable=False),  # as it was told: when it came, and where it was put
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("recorded_by", sa.Text, nullable=False),
)
sa.Index("uq_receipts_line", receipts.c.order, receipts.c.line, unique=True)
