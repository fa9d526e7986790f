"""How the simulated elements block: laminar in the media, turbulent in the housing, flat, then a sharp knee.

The blocking law is ours and deliberately none that the forecast assumes: the open area falls with the fourth
power of the load held, so that ΔP stays almost flat for four fifths of a life and then rises steeply.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.engineering.viscosity import density_at, viscosity_at, walther_constants
from scheduler.vocabulary import Answer
from service.demo.catalogue import CLEAN_DP_BAR, FLUIDS, RATED_FLOW_LPM, REFERENCE_VISCOSITY_MM2_S
from service.demo.records import DemoPosition, DemoSystem

REFERENCE_DENSITY_KG_M3 = 860.0
TORN_SHARE = 0.45
"""What is left of the ΔP of a loaded element that has let go."""

_BLOCKING_EXPONENT = 4.0
_MOST_BLOCKED = 0.995
_BYPASS_OVERRUN = 0.10
_SUCTION_LINE_BAR = 0.055
_BAR_PER_M_AND_KG_M3 = 9.80665e-5

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Assembly:
    """One position's element, housing, bypass and, on the suction side, its line and head."""

    position: DemoPosition
    clean_dp_bar: float
    rated_flow_lpm: float
    flow_lpm: float
    working_degC: float
    walther: tuple[float, float]
    density_15_kg_m3: float

    @classmethod
    def of(cls, position: DemoPosition, system: DemoSystem) -> "Assembly":
        fluid = FLUIDS[system.fluid]
        if position.flow_lpm is None:
            raise ValueError(f"{position.code} has no flow, so no pressure drop")
        return cls(
            position=position,
            clean_dp_bar=CLEAN_DP_BAR[position.part_number],
            rated_flow_lpm=RATED_FLOW_LPM[position.part_number],
            flow_lpm=position.flow_lpm,
            working_degC=system.oil.working_degC,
            walther=walther_constants(fluid.viscosity_40_mm2_s, fluid.viscosity_100_mm2_s),
            density_15_kg_m3=fluid.density_15_kg_m3,
        )

    def dp_bar(self, load: Array, oil_temperature_degC: Array, flow_lpm: Array) -> Array:
        """ΔP across the assembly, the bypass open where it must."""
        loaded = self._clean_element_bar(oil_temperature_degC, flow_lpm) * self._rise(load)
        housing = self.position.housing_dp_bar * (flow_lpm / self.flow_lpm) ** 2
        return np.asarray(self._past_bypass(loaded) + housing)

    def vacuum_bar(self, load: Array, oil_temperature_degC: Array, flow_lpm: Array) -> Array:
        """Vacuum at the pump inlet: line and strainer less the head of oil above it."""
        loaded = self._clean_element_bar(oil_temperature_degC, flow_lpm) * self._rise(load)
        line = _SUCTION_LINE_BAR * (flow_lpm / self.flow_lpm) ** 2
        return np.asarray((line + loaded - self._head_bar()).clip(0.0, 0.9))

    def _clean_element_bar(self, oil_temperature_degC: npt.ArrayLike, flow_lpm: npt.ArrayLike) -> Array:
        viscosity = viscosity_at(oil_temperature_degC, *self.walther) / REFERENCE_VISCOSITY_MM2_S
        density = density_at(oil_temperature_degC, self.density_15_kg_m3) / REFERENCE_DENSITY_KG_M3
        return np.asarray(self.clean_dp_bar * viscosity * density * np.asarray(flow_lpm) / self.rated_flow_lpm)

    def _rise(self, load: Array) -> Array:
        """ΔP over clean ΔP, such that the warm assembly reaches its limit at a load of 1."""
        clean = float(self._clean_element_bar(self.working_degC, self.flow_lpm))
        if self.position.vacuum_limit_bar is not None:
            at_limit = self.position.vacuum_limit_bar - _SUCTION_LINE_BAR + self._head_bar()
        else:
            at_limit = self.position.limit_bar - self.position.housing_dp_bar
        blocked_at_limit = 1.0 - clean / at_limit
        blocked = blocked_at_limit * np.maximum(load, 0.0) ** _BLOCKING_EXPONENT
        return np.asarray(1.0 / (1.0 - np.minimum(blocked, _MOST_BLOCKED)))

    def _past_bypass(self, element_bar: Array) -> Array:
        crack = self.position.bypass_dp_bar
        if self.position.bypass is not Answer.YES or crack is None:
            return element_bar
        overrun = np.maximum(element_bar - crack, 0.0)
        return np.minimum(element_bar, crack * (1.0 + _BYPASS_OVERRUN * np.tanh(overrun / crack)))

    def _head_bar(self) -> float:
        density = float(density_at(self.working_degC, self.density_15_kg_m3))
        return density * _BAR_PER_M_AND_KG_M3 * (self.position.inlet_head_m or 0.0)
