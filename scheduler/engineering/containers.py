"""How heavy a container of oil is, before anybody lifts it."""

DRUM_L = 210.0
PAIL_L = 20.0
"""Usual sizes; common practice, no source."""


def oil_mass_kg(volume_L: float, density_kg_m3: float) -> float:
    """Mass of the oil alone. Raises ValueError for a negative volume or a density not above 0.

    >>> round(oil_mass_kg(210.0, 870.0), 1), round(oil_mass_kg(20.0, 870.0), 1)
    (182.7, 17.4)
    """
    if not volume_L >= 0.0:
        raise ValueError(f"volume {volume_L} L is below 0")
    if not density_kg_m3 > 0.0:
        raise ValueError(f"density {density_kg_m3} kg/m³ is not above 0")
    return volume_L * density_kg_m3 / 1000.0


def container_mass_kg(volume_L: float, density_kg_m3: float, tare_kg: float) -> float:
    """Mass of a container with `volume_L` of oil in it; `tare_kg` is the empty container's mass.

    Raises ValueError as `oil_mass_kg` does, and for a tare not above 0. Where the tare is not known, say that
    `oil_mass_kg` leaves it out.

    >>> round(container_mass_kg(20.0, 870.0, 1.1), 1)
    18.5
    """
    if not tare_kg > 0.0:
        raise ValueError(f"tare {tare_kg} kg is not above 0; a container weighs something")
    return oil_mass_kg(volume_L, density_kg_m3) + tare_kg


PAIL_TARE_kg = 1.1
DRUM_TARE_kg = 20.0
"""A plastic pail of 20 L, a steel drum of 210 L (18 to 20 kg); common practice, no source."""


def container_tare_kg(volume_L: float) -> float:
    """What an empty container of that size weighs, about: along the straight line through pail and drum.

    From a litre to 250 L; ours between the two sizes and beyond them. A bulk container is emptied by a pump, so its
    tare is of no use here. Raises ValueError outside.

    >>> round(container_tare_kg(20.0), 1), round(container_tare_kg(210.0), 1)
    (1.1, 20.0)
    """
    if not 1.0 <= volume_L <= 250.0:
        raise ValueError(f"container of {volume_L} L is outside 1 to 250 L")
    per_L = (DRUM_TARE_kg - PAIL_TARE_kg) / (DRUM_L - PAIL_L)
    return max(PAIL_TARE_kg + per_L * (volume_L - PAIL_L), PAIL_TARE_kg * volume_L / PAIL_L)
