"""The unit is in the name of every float that carries a physical quantity: `dp_bar`, `flow_lpm`."""

import ast
import re
from collections.abc import Iterator

from scheduler.vocabulary import FIELD_SUFFIX, QuantityKind

_TIMES = (FIELD_SUFFIX[QuantityKind.RUN_TIME], FIELD_SUFFIX[QuantityKind.DURATION], "_s")

UNITS_OF: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("dp", "pressure", "vacuum"), (FIELD_SUFFIX[QuantityKind.PRESSURE_DIFFERENCE],)),
    "flow": (FIELD_SUFFIX[QuantityKind.FLOW],),
    "volume": (FIELD_SUFFIX[QuantityKind.VOLUME],),
    "temperature": (FIELD_SUFFIX[QuantityKind.TEMPERATURE],),
    "viscosity": (FIELD_SUFFIX[QuantityKind.KINEMATIC_VISCOSITY],),
    "density": (FIELD_SUFFIX[QuantityKind.DENSITY],),
    # loads on an element are grams, what a person lifts is kilograms
    **dict.fromkeys(("mass", "retained", "capacity"), (FIELD_SUFFIX[QuantityKind.MASS], "_kg")),
    **dict.fromkeys(("head", "altitude", "height"), (FIELD_SUFFIX[QuantityKind.HEIGHT], "_cm")),
    "torque": (FIELD_SUFFIX[QuantityKind.TORQUE],),
    **dict.fromkeys(("time", "age", "life", "duration", "interval", "delay", "horizon"), _TIMES),
}
"""How a name that contains the word may end. `hours` and `days` say their unit themselves."""

PURE_NUMBERS = frozenset(
    {"ratio", "fraction", "share", "factor", "index", "exponent", "quantile", "probability", "weight", "risk"}
)
"""A name that ends so is a number without unit: `viscosity_index`, `flow_ratio`."""

PURE_NUMBERS_BY_NAME = {
    "life_degrees": "degrees of freedom of the Student prior",
    "flow_sd": "relative, of a reading restated to the warm state",
    "viscosity_sd": "relative, of a reading restated to the warm state",
    "viscosity_slope_sd": "relative, of ln(ν/ν_ref) between two temperatures",
}

_RATE = re.compile(r"_per_[A-Za-z0-9_]+$")  # `flow_lpm_per_bar` is judged as `flow_lpm`
_FLOATS = re.compile(r"[Ff]loat|\bSingles\b|\bArrayLike\b")


def says_its_unit(name: str) -> bool:
    words = name.lower().split("_")
    if {"hours", "days"} & set(words):
        return True
    spoken_of = [word for word in words if word in UNITS_OF]
    if not spoken_of or name in PURE_NUMBERS_BY_NAME or words[-1] in PURE_NUMBERS or words[0] in {"log", "ln"}:
        return True
    amount = _RATE.sub("", name)
    return any(amount.endswith(suffix) for word in spoken_of for suffix in UNITS_OF[word])


def float_names(source: str) -> Iterator[tuple[int, str]]:
    """Line and name of every parameter and every annotated class member that holds a float or floats."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.FunctionDef(args=args) | ast.AsyncFunctionDef(args=args):
                annotated = [(a.lineno, a.arg, a.annotation) for a in _all_arguments(args)]
            case ast.ClassDef(body=body):
                annotated = [
                    (member.lineno, member.target.id, member.annotation)
                    for member in body
                    if isinstance(member, ast.AnnAssign) and isinstance(member.target, ast.Name)
                ]
            case _:
                continue
        for line, name, annotation in annotated:
            if annotation is not None and _holds_floats(annotation):
                yield line, name


def _all_arguments(args: ast.arguments) -> list[ast.arg]:
    return [*args.posonlyargs, *args.args, *args.kwonlyargs]


def _holds_floats(annotation: ast.expr) -> bool:
    text = ast.unparse(annotation)
    return bool(_FLOATS.search(text)) and "Callable" not in text


def slips(source: str) -> list[str]:
    return [f"{line}: {name}" for line, name in float_names(source) if not says_its_unit(name)]


def test_every_quantity_in_the_scheduler_says_its_unit(sources: dict[str, str]) -> None:
    scheduler = {path: text for path, text in sources.items() if path.startswith("scheduler/")}
    found = [f"{path}:{slip}" for path, text in scheduler.items() for slip in slips(text)]
    assert found == []


def test_the_rule_has_something_to_judge(sources: dict[str, str]) -> None:
    judged = [
        name
        for path, text in sources.items()
        if path.startswith("scheduler/engineering/")
        for _, name in float_names(text)
        if set(name.lower().split("_")) & set(UNITS_OF)
    ]
    assert len(judged) >= 10


def test_no_exception_outlives_its_reason(sources: dict[str, str]) -> None:
    used = {name for path, text in sources.items() if "scheduler/" in path for _, name in float_names(text)}
    assert set(PURE_NUMBERS_BY_NAME) - used == set()


def test_a_missing_a_foreign_and_a_misplaced_unit_are_found() -> None:
    sample = """
class Reading:
    dp: float | None
    at_rest: bool
    oil_temperature_degF: FloatArray

def assembly(flow: float, viscosity_cSt: Floats, *, pump_flow_bar: float, dp_bar_before: float) -> float: ...
def later(self, age: npt.NDArray[np.float64], life: 'float') -> float: ...
"""
    assert [slip.split(": ")[1] for slip in slips(sample)] == [
        *(
            "dp",
            "oil_temperature_degF",
            "flow",
            "viscosity_cSt",
            "pump_flow_bar",
            "dp_bar_before",
            "age",
            "life",
        ),
    ]


def test_units_rates_ratios_and_what_is_no_float_pass() -> None:
    sample = """
class Reading:
    dp_bar: float
    dp_source: str
    oil_temperature_degC: FloatArray

def assembly(flow_lpm: float, viscosity_40_mm2_s: Floats, viscosity_index: float, log_dp: Floats,
             leak_flow_lpm_per_bar: float, pressure_hours_left: float, max_age_d: float,
             flow_at: Callable[[float], float], retained_g_per_h: float) -> float: ...
"""
    assert slips(sample) == []
    assert len(list(float_names(sample))) == 10
