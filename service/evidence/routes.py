"""`/v1/close-outs/{id}/files` and `/v1/files/{id}`: what shows how a job went."""

import hashlib
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Depends, File, Form, Header, Response, UploadFile
from starlette.responses import JSONResponse

from api_schemas.evidence import EvidenceFile, EvidenceList
from api_schemas.quantities import Line
from scheduler.vocabulary import EvidenceKind
from service.conditional import names
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Reader, Worker
from service.evidence.content import LARGEST_FILE_BYTES, MOST_FILES
from service.evidence.keeping import file_to_attach, files_of, kept_file
from service.evidence.names import attachment, name_to_save
from service.form_parts import each_once
from service.keys.answering import Answer, answer_once, answered_before, digest_of, response_of
from service.seen_by_caller import SeenCloseOut, SeenFile

router = APIRouter(tags=["evidence"])

_CONTENT: dict[int | str, dict[str, Any]] = {
    200: {"content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in EvidenceKind}},
    304: {"description": "It is the one that If-None-Match names"},
}
_GUARDED = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "sandbox; default-src 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "private, no-cache",
}
"""A browser saves it, takes it for nothing else, runs nothing of it, and gives it to no other page."""


@router.post(
    "/close-outs/{close_out_id}/files",
    status_code=201,
    response_model=EvidenceFile,
    summary="Attach a picture or a paper",
    responses={
        200: {"model": EvidenceFile, "description": "It was attached already: nothing was changed"},
        409: {"description": f"The close-out has {MOST_FILES} files already"},
        413: {"description": f"The file has more than {LARGEST_FILE_BYTES:,} bytes"},
        422: {"description": "It is no JPEG, PNG or PDF, is not whole, or cannot be read without a password"},
    },
)
def attach(
    caller: Worker,
    _parts: Annotated[None, Depends(each_once("file", "name", "shows"))],
    database: OpenDatabase,
    now: Now,
    close_out_id: SeenCloseOut,
    file: Annotated[UploadFile, File(description="A JPEG, PNG or PDF; its content says which.")],
    name: Annotated[str | None, Form(max_length=1000, description="By default the file's own.")] = None,
    shows: Annotated[Line | None, Form(description="Like 'pleats at the inlet, bright flakes'.")] = None,
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Where and with what a picture was taken is removed, a PDF is kept as it is.

    The content makes it the same file: sent again it is there already, with an `Idempotency-Key` or without.
    """
    content, named = file.file.read(), name or file.filename or ""
    said = [hashlib.sha256(content).hexdigest(), named, shows]
    digest = digest_of(f"close-outs/{close_out_id}/files", said)
    before = answered_before(database, caller, idempotency_key, digest)
    if before is not None:
        return response_of(before)
    attach_it = file_to_attach(database, close_out_id, content, name=named, shows=shows, now=now, by=caller.name)

    def work(connection: sa.Connection) -> Answer:
        attached, is_new = attach_it(connection)
        location = {"Location": f"/v1/files/{attached.id}"}
        return Answer(201 if is_new else 200, attached.model_dump(mode="json"), headers=location)

    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))


@router.get("/close-outs/{close_out_id}/files", summary="The files of a close-out")
def list_files(_caller: Reader, database: OpenDatabase, close_out_id: SeenCloseOut) -> EvidenceList:
    """Also of one that was taken back."""
    with database.reading() as connection:
        return EvidenceList(items=files_of(connection, close_out_id))


@router.get("/files/{file_id}", summary="The content of a file", response_class=Response, responses=_CONTENT)
def show_file(
    _caller: Reader,
    database: OpenDatabase,
    file_id: SeenFile,
    if_none_match: Annotated[str | None, Header(max_length=1000)] = None,
) -> Response:
    """To be saved, never to be shown by a browser inside a page. Its ETag never changes."""
    with database.reading() as connection:
        row = kept_file(connection, file_id)
    etag = f'"{row["kept_sha256"]}"'
    if names(if_none_match or "", etag):
        return Response(status_code=304, headers={"ETag": etag, "Cache-Control": _GUARDED["Cache-Control"]})
    saved_as = attachment(name_to_save(row["name"], EvidenceKind(row["kind"])))
    return Response(
        row["content"], media_type=row["kind"], headers={"ETag": etag, "Content-Disposition": saved_as, **_GUARDED}
    )
