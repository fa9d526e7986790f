"""A client for other programs and for work with no signal: light, typed, and safe to repeat.

`Client` is for whoever works or plans, `Integrator` for a plant's other systems. `pack` and `outbox` keep what is
carried and what was told while there was no network; `sync` sends it when there is one; `shelf` compares what was
taken from the shelf with a carried sheet.
"""

from api_schemas.client.client import Client
from api_schemas.client.errors import NotReached, ProblemRefused
from api_schemas.client.integrator import Integrator
from api_schemas.client.sending import Patience

__all__ = ["Client", "Integrator", "NotReached", "Patience", "ProblemRefused"]
