"""Files attached to a close-out on the wire."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from scheduler.vocabulary import EvidenceKind

_OUT = ConfigDict(extra="forbid", frozen=True)


class EvidenceFile(BaseModel):
    """A picture or paper that shows how a job went; its content is at `/v1/files/{id}`.

    `kind` is what its content is. `sha256` is of what was sent and makes it this file. `as_sent` is false where
    something was taken out, such as where a picture was taken; `kept_bytes` is what is left.
    """

    model_config = _OUT

    id: int
    close_out: int
    name: str
    shows: str | None
    kind: EvidenceKind
    sha256: str
    as_sent: bool
    kept_bytes: int
    recorded_at: datetime
    recorded_by: str


class EvidenceList(BaseModel):
    """Every file of one close-out, the first one first."""

    model_config = _OUT

    items: list[EvidenceFile]
