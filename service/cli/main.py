"""`elementdue`: the command line's parts, each loaded when it is asked for, and how their errors end."""

import sys
import traceback
from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

DONE, REFUSED, USAGE, FAULT = 0, 1, 2, 3

_PARTS = {
    "import": "plant",
    "export": "plant",
    "plan": "plant",
    "due": "plant",
    "calibration": "calibration",
    "demand": "demand",
    "oil": "oil",
    "calendar": "calendar",
    "contamination": "contamination",
    "replay": "replay",
    "lives": "lives",
    "serve": "server",
    "demo": "server",
    "jobs": "jobs",
    "diagnoses": "diagnoses",
    "stock": "stock",
    "away": "away",
    "keys": "keys",
}
"""Of each command the module of this package that has it: `app`, where it is a group of its own, or `add_to`."""

_REFUSALS = (
    ("api_schemas.client", "NotReached"),
    ("api_schemas.client", "ProblemRefused"),
    ("service.cli.asking", "Refused"),
    ("service.plant_folder.refusals", "FolderRefused"),
    ("service.problems", "Problem"),
)
"""What a module that is not loaded has not raised."""


class _Parts(MutableMapping[str, Any]):
    """Commands by name. A technician off-line waits for none of the planner's arrays."""

    def __init__(self) -> None:
        self._added: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._added:
            module = import_module(f"service.cli.{_PARTS[name]}")
            part = typer.Typer(rich_markup_mode=None)
            if hasattr(module, "app"):
                part.add_typer(module.app, name=name)
            else:
                module.add_to(part)
            self._added |= typer.main.get_group(part).commands
        return self._added[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._added[name] = command

    def __delitem__(self, name: str) -> None:
        del self._added[name]

    def __iter__(self) -> Iterator[str]:
        return iter(_PARTS | self._added)

    def __len__(self) -> int:
        return len(_PARTS | self._added)


class _Commands(TyperGroup):
    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes | {"commands": None})
        self.commands = _Parts()

    def list_commands(self, ctx: Any) -> list[str]:
        return list(self.commands)


app = typer.Typer(
    name="elementdue",
    cls=_Commands,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # an error in a box is cut to the box's width
)


@app.callback()
def elementdue() -> None:
    """When each hydraulic filter element, strainer and breather is due, why, with which parts and which oil."""


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
    except Exception as error:
        if isinstance(error, (*_refusals(), ValueError)):
            print(error, file=sys.stderr)  # noqa: T201
            return REFUSED
        traceback.print_exc()
        print("The fault is ours, not yours; nothing of this command was kept.", file=sys.stderr)  # noqa: T201
        return FAULT
    raise AssertionError("typer ends with SystemExit")


def _refusals() -> tuple[type[Exception], ...]:
    return tuple(getattr(sys.modules[module], name) for module, name in _REFUSALS if module in sys.modules)
