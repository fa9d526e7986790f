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
