"""`/v1/imports`: a plant folder as a zip or a workbook, all or nothing."""

import shutil
import tempfile
from pathlib import Path
from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, File, Form, UploadFile

from api_schemas.imports import ImportOutcome
from api_schemas.problems import MemberProblem
from api_schemas.quantities import RowNumber
from service.dependencies import IntegratorOfAll, Now, OpenDatabase, ReaderOfAll
from service.imports.importing import import_folder
from service.imports.tables import imports
from service.plant_folder.refusals import FolderRefused
from service.problems import BadInput, NotFound, shown

router = APIRouter(prefix="/imports", tags=["imports"])


@router.post(
    "",
    status_code=201,
    summary="Import a plant folder",
    responses={422: {"description": "Every error of the folder; nothing was changed"}},
)
def import_zip(
    caller: IntegratorOfAll,
    database: OpenDatabase,
    now: Now,
    file: Annotated[UploadFile, File(description="The folder as a .zip of CSV tables, or an .xlsx workbook.")],
    dry_run: Annotated[bool, Form(description="Tell what would change, and change nothing.")] = False,
    separator: Annotated[str, Form(min_length=1, max_length=1)] = ",",
    decimal: Annotated[str, Form(min_length=1, max_length=1)] = ".",
) -> ImportOutcome:
    """Importing the same folder again changes nothing. Run a pass afterwards, or wait for the clock."""
    name = shown(file.filename or "upload")
    with tempfile.TemporaryDirectory(prefix="elementdue-") as folder:
        path = Path(folder) / "upload"  # its content says what it is
        with path.open("wb") as kept:
            shutil.copyfileobj(file.file, kept)
        try:
            return import_folder(
                database,
                path,
                name=name,
                now=now,
                by=caller.name,
                dry_run=dry_run,
                separator=separator,
                decimal=decimal,
            )
        except FolderRefused as refused:
            raise _problem(refused) from None
        except ValueError as error:
            raise BadInput(str(error)) from None


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
