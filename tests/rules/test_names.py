"""A name says what is inside; a name that says nothing collects everything."""

from pathlib import Path, PurePosixPath

SAYS_NOTHING = frozenset(
    {"util", "utils", "helper", "helpers", "common", "manager", "managers", "base_service", "misc", "stuff"}
)
CODE = ("service", "scheduler", "api_schemas", "tests")
TOP = frozenset({*CODE, "deploy", "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"})


def empty_words(path: str) -> set[str]:
    """The parts of a path, suffix apart, that say nothing: alone or as the last word of a name."""
    parts = [PurePosixPath(part).stem.lower() for part in PurePosixPath(path).parts]
    return {p for p in parts if p in SAYS_NOTHING or p.rsplit("_", maxsplit=1)[-1] in SAYS_NOTHING}


def strangers_at_the_top(paths: list[str]) -> set[str]:
    top = {PurePosixPath(path).parts[0] for path in paths}
    return {name for name in top if name not in TOP and not name.startswith(".")}


def test_no_module_is_named_after_nothing(checkout: Path) -> None:
    paths = [p.relative_to(checkout).as_posix() for folder in CODE for p in (checkout / folder).rglob("*.py")]
    assert len(paths) > len(CODE)
    assert {path: words for path in paths if (words := empty_words(path))} == {}


def test_the_top_of_the_repository_stays_readable(kept_files: list[str]) -> None:
    assert strangers_at_the_top(kept_files) == set()


def test_an_empty_name_is_found_wherever_it_stands() -> None:
    assert empty_words("service/utils.py") == {"utils"}
    assert empty_words("scheduler/common/viscosity.py") == {"common"}
    assert empty_words("service/work_orders/order_manager.py") == {"order_manager"}
    assert empty_words("service/work_orders/routes.py") == set()


def test_a_stray_file_at_the_top_is_found() -> None:
    assert strangers_at_the_top(["notes.txt", "README.md", ".ci/run", "docs/a.md", "tests/rules/x.py"]) == {
        *("notes.txt", "docs"),
    }
