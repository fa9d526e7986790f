"""Keys by their SHA-256, and the outcomes of writes that came with an `Idempotency-Key`."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

api_keys = sa.Table(
    "api_keys",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.Text, nullable=False, unique=True),
    sa.Column("secret_sha256", sa.Text, nullable=False, unique=True),
    sa.Column("scopes", sa.JSON, nullable=False),
    sa.Column("plants", sa.JSON(none_as_null=True)),  # the only ones that it may see; NULL: all
    sa.Column("created_at", UtcTime, nullable=False),
    sa.Column("expires_at", UtcTime),
    sa.Column("revoked_at", UtcTime),
    sa.Column("last_used_at", UtcTime),
)

kept_answers = sa.Table(
    "kept_answers",
    metadata,
    sa.Column("key_name", sa.Text, primary_key=True),
    sa.Column("idempotency_key", sa.Text, primary_key=True),
    sa.Column("request_sha256", sa.Text, nullable=False),
    sa.Column("status", sa.Integer, nullable=False),
    sa.Column("body", sa.JSON, nullable=False),
    sa.Column("headers", sa.JSON(none_as_null=True)),
    sa.Column("kept_at", UtcTime, nullable=False, index=True),
)
