"""How much one person should lift with two hands: the revised NIOSH lifting equation.

Source: DHHS (NIOSH) Publication 94-110 (rev. 9/2021). RWL = 23 kg · HM · VM · DM · AM · FM · CM, with
HM = 25/H, VM = 1 − 0.003 |V − 75|, DM = 0.82 + 4.5/D, AM = 1 − 0.0032 A; the frequency and coupling
multipliers are read from the publication's tables and passed in. Metric: kg, cm, degrees. It does not cover
one hand, kneeling, sliding, unstable loads, wheelbarrows, slippery floors or more than eight hours; on an
oily floor the true limit is lower. A limit of 0 means: not by hand.
"""

LOAD_CONSTANT_KG = 23.0
NEAREST_REACH_cm = 25.0
FARTHEST_REACH_cm = 63.0
HIGHEST_HANDS_cm = 175.0
LEAST_TRAVEL_cm = 25.0
LONGEST_TRAVEL_cm = 175.0
WIDEST_TWIST_deg = 135.0


def horizontal_multiplier(horizontal_reach_cm: float) -> float:
    """HM. Loads nearer than 25 cm count as 25 cm, beyond 63 cm nothing is recommended (94-110).

    >>> horizontal_multiplier(50.0)
    0.5
    """
    _refuse_below_zero(horizontal_reach_cm, "reach", "cm")
    if horizontal_reach_cm > FARTHEST_REACH_cm:
        return 0.0
    return NEAREST_REACH_cm / max(horizontal_reach_cm, NEAREST_REACH_cm)


def vertical_multiplier(hand_height_cm: float) -> float:
    """VM. Best at knuckle height, 75 cm; above 175 cm nothing is recommended (94-110).

    >>> round(vertical_multiplier(0.0), 3)
    0.775
    """
    _refuse_below_zero(hand_height_cm, "hand height", "cm")
    return 0.0 if hand_height_cm > HIGHEST_HANDS_cm else 1.0 - 0.003 * abs(hand_height_cm - 75.0)


def distance_multiplier(vertical_travel_cm: float) -> float:
    """DM. Travels under 25 cm count as 25 cm, beyond 175 cm nothing is recommended (94-110).

    >>> distance_multiplier(25.0)
    1.0
    """
    _refuse_below_zero(vertical_travel_cm, "vertical travel", "cm")
    if vertical_travel_cm > LONGEST_TRAVEL_cm:
        return 0.0
    return 0.82 + 4.5 / max(vertical_travel_cm, LEAST_TRAVEL_cm)


def asymmetry_multiplier(twist_deg: float) -> float:
    """AM. Beyond 135° nothing is recommended (94-110).

    >>> round(asymmetry_multiplier(90.0), 3)
    0.712
    """
    _refuse_below_zero(twist_deg, "twist", "degrees")
    return 0.0 if twist_deg > WIDEST_TWIST_deg else 1.0 - 0.0032 * twist_deg


def recommended_weight_limit_kg(
    horizontal_reach_cm: float,
    hand_height_cm: float,
    vertical_travel_cm: float,
    *,
    twist_deg: float = 0.0,
    frequency_multiplier: float = 1.0,
    coupling_multiplier: float = 1.0,
) -> float:
    """The weight that nearly all healthy workers could lift so over a shift; take the worse end of a lift.

    Raises ValueError for a negative measure or a multiplier outside 0 to 1.

    >>> recommended_weight_limit_kg(25.0, 75.0, 25.0)
    23.0
    """
    for name, given in (("frequency", frequency_multiplier), ("coupling", coupling_multiplier)):
        if not 0.0 <= given <= 1.0:
            raise ValueError(f"{name} multiplier {given} is outside 0 to 1")
    return (
        LOAD_CONSTANT_KG
        * horizontal_multiplier(horizontal_reach_cm)
        * vertical_multiplier(hand_height_cm)
        * distance_multiplier(vertical_travel_cm)
        * asymmetry_multiplier(twist_deg)
        * frequency_multiplier
        * coupling_multiplier
    )


def lifting_index(load_kg: float, recommended_limit_kg: float) -> float:
    """Load over recommended limit; above 1 some workers are at risk, infinite where the limit is 0.

    Raises ValueError for a negative load or limit.

    >>> lifting_index(34.5, 23.0)
    1.5
    """
    _refuse_below_zero(load_kg, "load", "kg")
    _refuse_below_zero(recommended_limit_kg, "recommended limit", "kg")
    return load_kg / recommended_limit_kg if recommended_limit_kg > 0.0 else float("inf")


def _refuse_below_zero(value: float, what: str, unit: str) -> None:
    if not value >= 0.0:
        raise ValueError(f"{what} {value} {unit} is below 0")
