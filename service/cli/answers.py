"""What every `jobs` command shares: where it asks, and how it tells the answer."""

import json
import sys
from typing import Annotated, Any

import typer

ServerOption = Annotated[
    str | None,
    typer.Option("--server", metavar="URL", help="A server; the key from ELEMENTDUE_KEY or ELEMENTDUE_KEY_FILE."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="The API's answer on stdout.")]
CloseOutArgument = Annotated[int, typer.Argument(metavar="CLOSE_OUT", help="The close-out's number.")]


def tell(answer: Any, *, as_json: bool, show: Any) -> None:
    """As JSON on stdout, else in words."""
    if as_json:
        sys.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2) + "\n")
    else:
        show(answer)
