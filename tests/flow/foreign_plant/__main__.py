"""Writes the folder as of the day on this machine's clock: `python -m tests.flow.foreign_plant TARGET`."""

import sys
from datetime import date
from pathlib import Path

from tests.flow.foreign_plant import write_folder

if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.flow.foreign_plant TARGET")
    write_folder(Path(sys.argv[1]), today=date.today())  # noqa: DTZ011 - the day on this machine is meant
