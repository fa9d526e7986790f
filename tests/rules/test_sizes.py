"""A file has one reason to exist and a function fits on a screen."""

import ast
from pathlib import Path

FILE_LINES = 400
FUNCTION_LINES = 60  # its docstring apart: a data sheet may be long

LONG_FOR_A_REASON = {
    "service/plant_folder/layout.py": 565,  # the plant folder's tables as data: one list to look things up
}


WRITTEN_BY_ALEMBIC = "service/migrations/versions/"  # a revision is one statement a table


def long_functions(source: str) -> list[str]:
    return [
        f"{node.lineno}: {node.name} has {length} lines"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        if (length := _lines_without_docstring(node)) > FUNCTION_LINES
    ]


def _lines_without_docstring(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    whole = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function, clean=False) is None:
        return whole
    return whole - ((first.end_lineno or first.lineno) - first.lineno + 1)


def test_no_file_is_too_long_to_have_one_reason(sources: dict[str, str]) -> None:
    length = {path: len(text.splitlines()) for path, text in sources.items()}
    assert {p: n for p, n in length.items() if n > LONG_FOR_A_REASON.get(p, FILE_LINES)} == {}


def test_no_exception_outlives_its_reason(checkout: Path) -> None:
    still_long = {p for p in LONG_FOR_A_REASON if len((checkout / p).read_text().splitlines()) > FILE_LINES}
    assert still_long == set(LONG_FOR_A_REASON)


def test_every_function_fits_on_a_screen(sources: dict[str, str]) -> None:
    read_by_people = {path: text for path, text in sources.items() if not path.startswith(WRITTEN_BY_ALEMBIC)}
    assert [f"{path}:{slip}" for path, text in read_by_people.items() for slip in long_functions(text)] == []


def test_a_function_of_61_lines_is_found_and_a_long_docstring_is_not_held_against_it() -> None:
    body = "    x = 1\n"
    assert long_functions("def f():\n" + body * 60) == ["1: f has 61 lines"]
    assert long_functions("def f():\n" + body * 59) == []
    assert long_functions('def f():\n    """' + "line\n" * 70 + '    """\n' + body * 59) == []
