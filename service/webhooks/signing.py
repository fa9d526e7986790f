"""Signatures after Standard Webhooks, and the event that is signed, after CloudEvents 1.0 in structured mode.

The specification signs `id.timestamp.body` with HMAC-SHA256 and sends base64 with the version `v1`.
"""

import base64
import json
import secrets
from datetime import datetime

import sqlalchemy as sa
from standardwebhooks import Webhook

from service.feed.pictures import utc

CONTENT_TYPE = "application/cloudevents+json"
_SECRET_BYTES = 32  # the specification: between 24 and 64


def new_secret() -> str:
    """Random, in the form in which the receiver's library takes it."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()


def signed_headers(secret: str, event: str, body: str, now: datetime) -> dict[str, str]:
    """The headers of one attempt at `now`: the id stays the same at each, the time and the signature do not."""
    return {
        "content-type": CONTENT_TYPE,
        "webhook-id": event,
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": Webhook(secret).sign(event, now, body),
    }


def event_body(line: sa.RowMapping, source: str) -> str:
    """A line of the feed as an event; `number`, `plant` and `system` are extension attributes."""
    event = {
        "specversion": "1.0",
        "id": line["id"],
        "source": source,
        "type": line["type"],
        "subject": line["subject"],
        "time": utc(line["at"]),
        "datacontenttype": "application/json",
        "number": line["number"],
        "plant": line["plant"],
        "system": line["system"],
        "data": line["data"],
    }
    return json.dumps(event, ensure_ascii=True, separators=(",", ":"))
