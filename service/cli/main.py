"""`elementdue`: the command line's parts put together, and how its errors end."""

import sys
import traceback

import typer

from api_schemas.client import NotReached, ProblemRefused
from service.cli import (
    away,
    calendar,
    calibration,
    contamination,
    demand,
    diagnoses,
    jobs,
    keys,
    lives,
    oil,
    plant,
    replay,
    server,
    stock,
)
from service.cli.asking import Refused
from service.plant_folder.refusals import FolderRefused
from service.problems import Problem

DONE, REFUSED, USAGE, FAULT = 0, 1, 2, 3

app = typer.Typer(
    name="elementdue",
    help="When each hydraulic filter element, strainer and breather is due, why, with which parts and which oil.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # an error in a box is cut to the box's width
)
plant.add_to(app)
calibration.add_to(app)
demand.add_to(app)
oil.add_to(app)
calendar.add_to(app)
contamination.add_to(app)
replay.add_to(app)
lives.add_to(app)
server.add_to(app)
app.add_typer(jobs.app, name="jobs")
app.add_typer(diagnoses.app, name="diagnoses")
app.add_typer(stock.app, name="stock")
app.add_typer(away.app, name="away")
app.add_typer(keys.app, name="keys")


def main() -> None:
    """Run a command; its end is the exit code: 0 done, 1 refused, 2 usage, 3 a fault of ours."""
    sys.exit(_run())


def _run() -> int:
    try:
        app()
    except SystemExit as ended:  # how typer ends, whichever exceptions it knows: 0, 1, 2, and 130 for Ctrl-C
        if ended.code in {DONE, REFUSED, USAGE}:
            return int(ended.code or DONE)
        print("stopped", file=sys.stderr)  # noqa: T201
        return REFUSED
    except (FolderRefused, NotReached, Problem, ProblemRefused, Refused, ValueError) as error:
        print(error, file=sys.stderr)  # noqa: T201
        return REFUSED
    except Exception:
        traceback.print_exc()
        print("The fault is ours, not yours; nothing of this command was kept.", file=sys.stderr)  # noqa: T201
        return FAULT
    raise AssertionError("typer ends with SystemExit")
