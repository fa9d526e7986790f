"""`/v1/imports`: a plant folder as a zip or a workbook, all or nothing."""

import hashlib
import shutil
import tempfile
from pathlib import Path
from typing import Annotated, Any, BinaryIO

import sqlalchemy as sa
from fastapi import APIRouter, Depends, File, Form, UploadFile
from starlette.responses import JSONResponse

from api_schemas.imports import ImportOutcome
from api_schemas.problems import MemberProblem
from api_schemas.quantities import RowNumber
from service.dependencies import IdempotencyKey, IntegratorOfAll, Now, OpenDatabase, ReaderOfAll
from service.form_parts import each_once
from service.imports.importing import folder_to_merge, import_folder
from service.imports.tables import imports
from service.keys.answering import Answer, answer_once, answered_before, digest_of, response_of
from service.plant_folder.refusals import FolderRefused
from service.problems import BadInput, NotFound, shown

router = APIRouter(prefix="/imports", tags=["imports"])


@router.post(
    "",
    status_code=201,
    response_model=ImportOutcome,
    summary="Import a plant folder",
    responses={422: {"description": "Every error of the folder; nothing was changed"}},
)
def import_zip(
    caller: IntegratorOfAll,
    _parts: Annotated[None, Depends(each_once("file", "dry_run", "separator", "decimal"))],
    database: OpenDatabase,
    now: Now,
    file: Annotated[UploadFile, File(description="The folder as a .zip of CSV tables, or an .xlsx workbook.")],
    dry_run: Annotated[bool, Form(description="Tell what would change, and change nothing.")] = False,
    separator: Annotated[str, Form(min_length=1, max_length=1)] = ",",
    decimal: Annotated[str, Form(min_length=1, max_length=1)] = ".",
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Importing the same folder again changes nothing. Run a pass afterwards, or wait for the clock.

    A dry run keeps nothing, not even its answer: with the same `Idempotency-Key` it is made anew.
    """
    name = shown(file.filename or "upload")
    digest = digest_of("imports", [_sha256(file.file), name, separator, decimal])
    before = None if dry_run else answered_before(database, caller, idempotency_key, digest)
    if before is not None:
        return response_of(before)
    with tempfile.TemporaryDirectory(prefix="elementdue-") as folder:
        path = Path(folder) / "upload"  # its content says what it is
        with path.open("wb") as kept:
            shutil.copyfileobj(file.file, kept)
        told: dict[str, Any] = {
            "name": name,
            "now": now,
            "by": caller.name,
            "separator": separator,
            "decimal": decimal,
        }
        try:
            if dry_run:
                return response_of(_answer(import_folder(database, path, dry_run=True, **told)))
            with folder_to_merge(database, path, **told) as merge:
                return response_of(
                    answer_once(database, caller, idempotency_key, digest, now, lambda each: _answer(merge(each)))
                )
        except FolderRefused as refused:
            raise _problem(refused) from None
        except ValueError as error:
            raise BadInput(str(error), [MemberProblem(member="file", value=name, says=str(error))]) from None


def _sha256(file: BinaryIO) -> str:
    found = hashlib.sha256()
    while part := file.read(1_000_000):
        found.update(part)
    file.seek(0)
    return found.hexdigest()


def _answer(outcome: ImportOutcome) -> Answer:
    location = None if outcome.id is None else {"Location": f"/v1/imports/{outcome.id}"}
    return Answer(201, outcome.model_dump(mode="json"), headers=location)


@router.get("/{import_id}", summary="The outcome of an import")
def show_import(_caller: ReaderOfAll, database: OpenDatabase, import_id: RowNumber) -> ImportOutcome:
    """As it was answered."""
    with database.reading() as connection:
        kept = connection.scalar(sa.select(imports.c.outcome).where(imports.c.id == import_id))
    if kept is None:
        raise NotFound(f"there is no import {import_id}")
    return ImportOutcome.model_validate(kept)


def _problem(refused: FolderRefused) -> BadInput:
    errors = [
        MemberProblem(
            member=", ".join(part for part in (each.file, each.row and f"row {each.row}", each.column) if part),
            value=each.value,
            says=each.says,
        )
        for each in refused.refusals
    ]
    detail = f"{refused.count} errors; nothing was changed"
    return BadInput(detail, errors, errors_not_listed=dict(refused.further))
