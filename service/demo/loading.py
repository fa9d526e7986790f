"""Loading the demo plant: written as a plant folder, imported like any other."""

import tempfile
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from service.database import Database
from service.demo.folder import write_demo_folder
from service.imports.importing import import_folder
from service.plant_folder import tables as t
from service.plant_folder.merging import Progress


def load_demo(database: Database, now: datetime, by: str, progress: Progress | None = None) -> bool:
    """Load the demo, dated relative to `now`; false, and nothing done, where any plant is known already."""
    with database.reading() as connection:
        if connection.scalar(sa.select(sa.func.count()).select_from(t.plants)):
            return False
    with tempfile.TemporaryDirectory(prefix="elementdue-") as folder:
        target = Path(folder) / "demo"
        write_demo_folder(target, now.date())
        import_folder(database, target, name="demo plant", now=now, by=by, progress=progress)
    return True
