"""Problem documents (RFC 9457) as the service sends them."""

from pydantic import BaseModel, ConfigDict


class MemberProblem(BaseModel):
    """What is wrong with one member: where it stands, what was sent, what was expected."""

    model_config = ConfigDict(extra="forbid")

    member: str
    value: str | None = None
    says: str


class ProblemDocument(BaseModel):
    """`type` is stable; `errors` names each failing member; `request_id` is that of the `X-Request-Id` header."""

    model_config = ConfigDict(extra="allow")

    type: str
    title: str
    status: int
    detail: str
    errors: list[MemberProblem] = []
    request_id: str | None = None
