"""What the columns in US and vacuum units are converted with."""

from __future__ import annotations

PSI = 14.503774  # psi in one bar
INHG = 29.52999  # inHg in one bar
LITRES = 3.785412  # litres in one US gallon
