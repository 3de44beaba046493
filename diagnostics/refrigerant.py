"""Refrigerant properties by look-up in tables made once from reference equations of state.

Saturation properties are linear in a fine grid over ln p (or T); single-phase properties are
bilinear over ln p and the root of the distance from saturation, where the compressibility factor
and the enthalpy are nearly straight. Tables and their error: ``diagnostics.refrigerant_tables``.

Equations of state behind the tables: R-410A Lemmon, Int. J. Thermophys. 24(4):991-1006, 2003;
R-32 Tillner-Roth & Yokozeki, J. Phys. Chem. Ref. Data 26(6), 1997; R-454B (R-32/R-1234yf
0.689/0.311 by mass) Bell, J. Phys. Chem. Ref. Data 52:013101, 2023.
Enthalpies have one zero per refrigerant, so only their differences mean anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files

import numpy as np
import scipy

from diagnostics.plant import Refrigerant
from diagnostics.samples import FloatArray

FINE_NODES = 4096
WET_TOLERANCE_K = 5.0
"""A measured gas (liquid) this much below (above) saturation is taken as saturated: sensors err,
and a mixture of both phases sits at saturation. Beyond it a property is not given."""

SATURATION_FLOOR_K = {
    Refrigerant.R410A: 0.15,
    Refrigerant.R32: 0.15,
    Refrigerant.R454B: 0.35,
}
"""Disagreement between equations, producers' tables and charts: no saturation temperature is
better known than this. R-410A: a producer's bulletin within 0.14 K from 0 to 50 degC; R-454B: a
published chart within 0.34 K."""


@dataclass(frozen=True, eq=False)
class _Line:
    """A function of one variable on a uniform grid, linear between nodes."""

    start: float
    step: float
    value: FloatArray
    rise: FloatArray

    @classmethod
    def fine(cls, x: FloatArray, y: FloatArray) -> _Line:
        grid = np.linspace(x[0], x[-1], FINE_NODES)
        return cls.through(grid, scipy.interpolate.CubicSpline(x, y)(grid))

    @classmethod
    def through(cls, grid: FloatArray, value: FloatArray) -> _Line:
        rise = np.concatenate((np.diff(value), [0.0]))
        return cls(float(grid[0]), float(grid[1] - grid[0]), value, rise)

    def __call__(self, x: FloatArray) -> FloatArray:
        position = (x - self.start) / self.step
        # The last node is reached by rounding; a whole step beyond either end is outside.
        inside = (position >= -1e-9) & (position <= self.value.size - 1 + 1e-9)
        position = np.where(inside, position, 0.0)
        index = position.astype(np.intp)
        out = self.value.take(index, mode="clip")
        out += (position - index) * self.rise.take(index, mode="clip")
        out[~inside] = np.nan
        return out


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A function of (ln p, root of the distance from saturation) on a uniform grid, bilinear."""

    start: float
    step: float
    root_step: float
    value: FloatArray

    def __call__(self, log_p: FloatArray, distance_k: FloatArray) -> FloatArray:
        rows, columns = self.value.shape
        row = (log_p - self.start) / self.step
        distance_k = np.where(distance_k > -WET_TOLERANCE_K, np.maximum(distance_k, 0.0), np.nan)
        column = np.sqrt(distance_k) / self.root_step
        inside = (row >= -1e-9) & (row <= rows - 1 + 1e-9) & (column <= columns - 1 + 1e-9)
        row = np.where(inside, row, 0.0)
        column = np.where(inside, column, 0.0)
        i = np.minimum(row.astype(np.intp), rows - 2)
        j = np.minimum(column.astype(np.intp), columns - 2)
        u, v = row - i, column - j
        corner = i * columns + j
        flat = self.value.reshape(-1)
        near = flat.take(corner) * (1 - v) + flat.take(corner + 1) * v
        far = flat.take(corner + columns) * (1 - v) + flat.take(corner + columns + 1) * v
        out = near * (1 - u) + far * u
        out[~inside] = np.nan
        return np.asarray(out)


def _array(values: FloatArray | float) -> FloatArray:
    return np.atleast_1d(np.asarray(values, dtype=np.float64))


def _log(p_pa: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.log(p_pa)


@dataclass(frozen=True, eq=False)
class Fluid:
    """Properties of one refrigerant, vectorised; K, Pa, kg/m3, J/kg.

    Every method takes arrays (or numbers, as arrays of one) and returns an array of that shape.
    Missing in, missing out; NaN outside the range of the table (0.08 to 4.5 MPa, superheat to
    100 K, subcooling to 60 K). Temperatures up to ``WET_TOLERANCE_K`` on the wrong side of
    saturation give the saturated value.
    """

    refrigerant: Refrigerant
    saturation_floor_k: float
    table: dict[str, FloatArray]

    def _pressure_line(self, name: str) -> _Line:
        return _Line.fine(self.table["log_p"], self.table[name])

    def _temperature_line(self, name: str) -> _Line:
        temperature = self.table[name]
        log_p = scipy.interpolate.CubicSpline(temperature, self.table["log_p"])
        grid = np.linspace(temperature[0], temperature[-1], FINE_NODES)
        return _Line.through(grid, np.exp(log_p(grid)))

    def _sheet(self, name: str) -> _Sheet:
        log_p = self.table["log_p_sheet"]
        root = self.table["root_superheat" if "vapour" in name else "root_subcooling"]
        step = float(log_p[1] - log_p[0])
        return _Sheet(float(log_p[0]), step, float(root[1] - root[0]), self.table[name])

    @cached_property
    def _t_bubble(self) -> _Line:
        return self._pressure_line("t_bubble_k")

    @cached_property
    def _t_dew(self) -> _Line:
        return self._pressure_line("t_dew_k")

    @cached_property
    def _h_bubble(self) -> _Line:
        return self._pressure_line("h_bubble_j_kg")

    @cached_property
    def _h_dew(self) -> _Line:
        return self._pressure_line("h_dew_j_kg")

    @cached_property
    def _slope_bubble(self) -> _Line:
        log_p = self.table["log_p"]
        curve = scipy.interpolate.CubicSpline(log_p, self.table["t_bubble_k"])
        return _Line.fine(log_p, curve.derivative()(log_p) / np.exp(log_p))

    @cached_property
    def _p_bubble(self) -> _Line:
        return self._temperature_line("t_bubble_k")

    @cached_property
    def _p_dew(self) -> _Line:
        return self._temperature_line("t_dew_k")

    @cached_property
    def _rho_liquid(self) -> _Sheet:
        return self._sheet("rho_liquid_kg_m3")

    @cached_property
    def _h_liquid(self) -> _Sheet:
        return self._sheet("h_liquid_j_kg")

    @cached_property
    def _z_vapour(self) -> _Sheet:
        return self._sheet("z_vapour_j_kg_k")

    @cached_property
    def _h_vapour(self) -> _Sheet:
        return self._sheet("h_vapour_j_kg")

    def t_bubble_k(self, p_pa: FloatArray | float) -> FloatArray:
        """Bubble temperature [K] at ``p_pa``: the one subcooling is measured from."""
        return self._t_bubble(_log(_array(p_pa)))

    def t_dew_k(self, p_pa: FloatArray | float) -> FloatArray:
        """Dew temperature [K] at ``p_pa``: the one superheat is measured from."""
        return self._t_dew(_log(_array(p_pa)))

    def p_bubble_pa(self, t_k: FloatArray | float) -> FloatArray:
        """Bubble pressure [Pa] at ``t_k``."""
        return self._p_bubble(_array(t_k))

    def p_dew_pa(self, t_k: FloatArray | float) -> FloatArray:
        """Dew pressure [Pa] at ``t_k``."""
        return self._p_dew(_array(t_k))

    def dt_bubble_dp_k_pa(self, p_pa: FloatArray | float) -> FloatArray:
        """Slope of the bubble temperature [K/Pa] at ``p_pa``."""
        return self._slope_bubble(_log(_array(p_pa)))

    def h_bubble_j_kg(self, p_pa: FloatArray | float) -> FloatArray:
        """Enthalpy of saturated liquid [J/kg]."""
        return self._h_bubble(_log(_array(p_pa)))

    def h_dew_j_kg(self, p_pa: FloatArray | float) -> FloatArray:
        """Enthalpy of saturated vapour [J/kg]."""
        return self._h_dew(_log(_array(p_pa)))

    def rho_liquid_kg_m3(self, t_k: FloatArray | float, p_pa: FloatArray | float) -> FloatArray:
        """Density of subcooled liquid [kg/m3]."""
        return self._rho_liquid(*self._from_bubble(t_k, p_pa))

    def h_liquid_j_kg(self, t_k: FloatArray | float, p_pa: FloatArray | float) -> FloatArray:
        """Enthalpy of subcooled liquid [J/kg]."""
        return self._h_liquid(*self._from_bubble(t_k, p_pa))

    def rho_vapour_kg_m3(self, p_pa: FloatArray | float, t_k: FloatArray | float) -> FloatArray:
        """Density of superheated vapour [kg/m3]."""
        log_p, superheat_k = self._from_dew(p_pa, t_k)
        # A gas reported colder than its dew point is taken at its dew point, see WET_TOLERANCE_K.
        gas_k = _array(t_k) + np.maximum(-superheat_k, 0.0)
        return np.asarray(_array(p_pa) / (self._z_vapour(log_p, superheat_k) * gas_k))

    def h_vapour_j_kg(self, p_pa: FloatArray | float, t_k: FloatArray | float) -> FloatArray:
        """Enthalpy of superheated vapour [J/kg]."""
        return self._h_vapour(*self._from_dew(p_pa, t_k))

    def _from_bubble(
        self, t_k: FloatArray | float, p_pa: FloatArray | float
    ) -> tuple[FloatArray, FloatArray]:
        t, p = np.broadcast_arrays(_array(t_k), _array(p_pa))
        log_p = _log(p)
        return log_p, self._t_bubble(log_p) - t

    def _from_dew(
        self, p_pa: FloatArray | float, t_k: FloatArray | float
    ) -> tuple[FloatArray, FloatArray]:
        t, p = np.broadcast_arrays(_array(t_k), _array(p_pa))
        log_p = _log(p)
        return log_p, t - self._t_dew(log_p)


@cache
def fluid(refrigerant: Refrigerant) -> Fluid:
    """The properties of ``refrigerant``; read from its table once per process."""
    source = files("diagnostics") / "tables" / f"{refrigerant.value.lower()}.npz"
    with source.open("rb") as stream, np.load(stream) as arrays:
        table = {name: arrays[name] for name in arrays.files if arrays[name].dtype.kind == "f"}
    return Fluid(refrigerant, SATURATION_FLOOR_K[refrigerant], table)
