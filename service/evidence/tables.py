"""Files attached to close-outs, whole, in the transaction that attached them.

What was sent is known by its SHA-256: the same file again is the same file. What is kept may be less than was sent.
"""

import sqlalchemy as sa

from service.database import UtcTime, metadata

evidence_files = sa.Table(
    "evidence_files",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("close_out", sa.ForeignKey("close_outs.id"), nullable=False),
    sa.Column("sent_sha256", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("shows", sa.Text),
    sa.Column("recorded_by", sa.Text, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("kept_sha256", sa.Text, nullable=False),
    sa.Column("kept_bytes", sa.Integer, nullable=False),
    # last, so that SQLite reads none of its pages where only the columns before it are asked for
    sa.Column("content", sa.LargeBinary, nullable=False),
    sa.UniqueConstraint("close_out", "sent_sha256"),
)
