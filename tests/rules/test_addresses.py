"""Nothing in the repository names a package index or somebody's folder, and the locks hold pins alone."""

import re
import tomllib
from pathlib import Path

import pytest

# Put together here, so that this file does not trip its own rule.
_INDEX_OPTION = "|".join(("index" + "-url", "extra" + "-index-url", "find" + "-links", "trusted" + "-host"))
_INDEX_WORDS = "|".join(("py" + r"pi\.\w", "python" + r"hosted\.\w", "https?://[^\\s\"'<>]*/" + r"simple\b"))
_HOMES = "|".join("/" + folder + "/" for folder in ("home", "root", "Users")) + r"|[A-Z]:\\" + r"Users\\"

ANYWHERE = {
    "a package index": re.compile(rf"(?:{_INDEX_OPTION})[\"']?\s*[ =:]\s*[\"']?(?:\w+://|/)|{_INDEX_WORDS}", re.I),
    "somebody's folder": re.compile(rf"(?<![\w.}}])(?:{_HOMES})[\w.-]+"),
}
OUTSIDE_TESTS = {"a temporary folder": re.compile(r"(?<![\w.}])/(?:tmp|var/folders)/[\w.-]+")}

_PIN = r"[a-z0-9][a-z0-9._-]*==[A-Za-z0-9.!+]+"
_MARKER = r"(?: ; [a-z_]+ [=!<>]+ '[\w.]+'(?: (?:and|or) [a-z_]+ [=!<>]+ '[\w.]+')*)?"
LOCK_LINE = re.compile(rf"{_PIN}{_MARKER} \\|    --hash=sha256:[0-9a-f]{{64}}(?: \\)?")
LOCKS = ("deploy/requirements.txt", "deploy/requirements-test.txt")


def told(text: str, *, in_tests: bool = False) -> set[str]:
    """What a text gives away."""
    rules = ANYWHERE if in_tests else ANYWHERE | OUTSIDE_TESTS
    return {what for what, pattern in rules.items() if pattern.search(text)}


def pins(lock: str) -> set[str]:
    return {line.removesuffix(" \\") for line in lock.splitlines() if "==" in line.split(";")[0]}


def test_no_file_names_an_index_or_a_folder_of_somebodys_machine(checkout: Path, kept_files: list[str]) -> None:
    found: dict[str, set[str]] = {}
    for path in kept_files:
        text = (checkout / path).read_bytes().decode("utf-8", errors="replace")
        if given_away := told(text, in_tests=path.startswith("tests/")):
            found[path] = given_away
    assert found == {}


@pytest.mark.parametrize("path", LOCKS)
def test_a_lock_holds_pins_markers_and_hashes_and_nothing_else(checkout: Path, path: str) -> None:
    lines = (checkout / path).read_text(encoding="utf-8").splitlines()
    assert len(lines) > 100
    assert [line for line in lines if not LOCK_LINE.fullmatch(line)] == []


def test_start_and_check_agree_on_every_version(checkout: Path) -> None:
    run, test = (pins((checkout / path).read_text(encoding="utf-8")) for path in LOCKS)
    assert run
    assert run - test == set()


def test_every_dependency_and_the_builder_are_locked(checkout: Path) -> None:
    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))
    needed = {
        LOCKS[0]: project["project"]["dependencies"] + project["build-system"]["requires"],
        LOCKS[1]: project["project"]["optional-dependencies"]["test"],
    }
    for path, requirements in needed.items():
        locked = {pin.split("==")[0] for pin in pins((checkout / path).read_text(encoding="utf-8"))}
        names = {re.split(r"[\[<>=!~; ]", requirement)[0].lower() for requirement in requirements}
        assert names - locked == set(), path


@pytest.mark.parametrize(
    "text",
    [
        "--" + "index" + "-url https://packages.example.com/all",
        "extra-index" + "-url = file:///srv/wheels",
        "PIP_FIND = /wheels\n--find" + "-links /wheels",
        "see https://" + "py" + "pi.org/project/numpy",
        "https://packages.example.com/" + "simple/numpy/",
    ],
)
def test_an_index_is_found_however_it_is_named(text: str) -> None:
    assert told(text) == {"a package index"}


def test_a_machine_path_is_found() -> None:
    assert told("open('/" + "home/anna/plant.sqlite')") == {"somebody's folder"}
    assert told("cd /" + "root/checkout") == {"somebody's folder"}
    assert told("log=/tmp" + "/elementdue.log") == {"a temporary folder"}
    assert told("log=/tmp" + "/elementdue.log", in_tests=True) == set()


def test_options_without_an_address_routes_and_placeholders_pass() -> None:
    assert told("uv pip compile --no-emit-" + "index" + "-url --output-file x") == set()
    assert told("GET /v1/positions, /opt/elementdue, $HOME/.cache, http://127.0.0.1:8420/v1/due") == set()


def test_a_lock_line_with_an_address_or_a_path_is_refused() -> None:
    assert LOCK_LINE.fullmatch("numpy==2.4.6 ; python_full_version < '3.12' \\")
    assert not LOCK_LINE.fullmatch("numpy @ https://packages.example.com/numpy.whl \\")
    assert not LOCK_LINE.fullmatch("    #   -c /srv/lock/requirements.txt")
    assert not LOCK_LINE.fullmatch("numpy>=2.0 \\")
