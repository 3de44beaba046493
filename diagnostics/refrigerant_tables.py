"""Builds the property tables of ``diagnostics.refrigerant`` from reference equations of state.

The only module that needs CoolProp. ``python -m diagnostics.refrigerant_tables`` writes
``diagnostics/tables/*.npz`` anew; analysis itself only reads them.

Saturation calls for mixtures fail in bands of pressure inside the condensing range. Failed nodes
are dropped and a cubic spline in ln p bridges them; ``bridge_error_k`` is the proof: every second
good node is left out in turn and predicted from the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import CoolProp
import numpy as np
from CoolProp.CoolProp import AbstractState, phases
from scipy.interpolate import CubicSpline

from diagnostics.plant import Refrigerant
from diagnostics.samples import FloatArray

NAMES = {
    Refrigerant.R410A: "R410A",
    Refrigerant.R32: "R32",
    Refrigerant.R454B: "R454B.mix",
}
LOWEST_PA, HIGHEST_PA = 0.08e6, 4.5e6
LINE_NODES = 481
SHEET_NODES = 161
COLUMN_NODES = 81
SUPERHEAT_K = 100.0
SUBCOOLING_K = 60.0
LOWEST_T_K = 205.0
"""The pseudo-pure equation of R-410A ends at 200 K; liquid nodes below stay empty."""


@dataclass(frozen=True)
class Grid:
    """Number of nodes of the tables: saturation lines, rows and columns of the sheets."""

    line: int = LINE_NODES
    rows: int = SHEET_NODES
    columns: int = COLUMN_NODES


def saturation_k(state: AbstractState, p_pa: FloatArray, quality: float) -> FloatArray:
    """Saturation temperature [K] at each pressure; NaN where the equation solver fails."""
    out = np.full(p_pa.size, np.nan)
    for i, p in enumerate(p_pa):
        try:
            state.update(CoolProp.PQ_INPUTS, float(p), quality)
        except ValueError:
            continue
        out[i] = state.T()
    return out


def bridged(log_p: FloatArray, t_k: FloatArray) -> CubicSpline:
    """Saturation temperature [K] over ln p through the nodes that could be solved."""
    good = _plausible(log_p, t_k)
    return CubicSpline(log_p[good], t_k[good])


def bridge_error_k(log_p: FloatArray, t_k: FloatArray) -> float:
    """Largest error [K] where good nodes, in runs as long as the failed ones, are left out."""
    good = np.flatnonzero(_plausible(log_p, t_k))
    hole = max(1, int(np.diff(good).max()) - 1)
    worst = 0.0
    for start in range(hole, good.size - 2 * hole, hole):
        out = good[start : start + hole]
        kept = np.setdiff1d(good, out)
        error = np.abs(CubicSpline(log_p[kept], t_k[kept])(log_p[out]) - t_k[out])
        worst = max(worst, float(error.max()))
    return worst


def _plausible(log_p: FloatArray, t_k: FloatArray) -> np.ndarray:
    """Solved nodes that also lie on a smooth line: a solver may converge to a wrong root."""
    good = np.isfinite(t_k)
    trend = np.polynomial.Chebyshev.fit(log_p[good], t_k[good], 12)
    return np.asarray(good & (np.abs(np.where(good, t_k, 0.0) - trend(log_p)) < 0.01))


def _at(state: AbstractState, p_pa: float, t_k: float) -> tuple[float, float]:
    """Density [kg/m3] and enthalpy [J/kg] of the phase the state was told to be in."""
    if t_k < LOWEST_T_K:
        return np.nan, np.nan
    state.update(CoolProp.PT_INPUTS, p_pa, t_k)
    return state.rhomass(), state.hmass()


def _phase_state(name: str, phase: phases) -> AbstractState:
    state = AbstractState("HEOS", name)
    state.specify_phase(phase)
    return state


def _sheet(
    state: AbstractState, p_pa: FloatArray, t_k: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Density and enthalpy at pressures (rows,) and temperatures (rows, columns)."""
    values = [
        [_at(state, float(p), float(t)) for t in row] for p, row in zip(p_pa, t_k, strict=True)
    ]
    table = np.array(values)
    return table[..., 0], table[..., 1]


def build(refrigerant: Refrigerant, grid: Grid | None = None) -> dict[str, np.ndarray]:
    """The table of ``refrigerant``: arrays by name, SI units in the names, and its provenance."""
    grid = grid or Grid()
    name = NAMES[refrigerant]
    both = AbstractState("HEOS", name)
    log_p = np.linspace(np.log(LOWEST_PA), np.log(HIGHEST_PA), grid.line)
    solved = {quality: saturation_k(both, np.exp(log_p), quality) for quality in (0.0, 1.0)}
    bubble, dew = (bridged(log_p, solved[quality]) for quality in (0.0, 1.0))

    liquid = _phase_state(name, phases.iphase_liquid)
    gas = _phase_state(name, phases.iphase_gas)
    p = np.exp(log_p)
    _, h_bubble = _sheet(liquid, p, bubble(log_p)[:, None])
    _, h_dew = _sheet(gas, p, dew(log_p)[:, None])

    log_p_sheet = np.linspace(log_p[0], log_p[-1], grid.rows)
    root_superheat = np.linspace(0.0, np.sqrt(SUPERHEAT_K), grid.columns)
    root_subcooling = np.linspace(0.0, np.sqrt(SUBCOOLING_K), grid.columns)
    p_sheet = np.exp(log_p_sheet)
    t_liquid = bubble(log_p_sheet)[:, None] - root_subcooling**2
    t_vapour = dew(log_p_sheet)[:, None] + root_superheat**2
    rho_liquid, h_liquid = _sheet(liquid, p_sheet, t_liquid)
    rho_vapour, h_vapour = _sheet(gas, p_sheet, t_vapour)
    return {
        "log_p": log_p,
        "t_bubble_k": bubble(log_p),
        "t_dew_k": dew(log_p),
        "h_bubble_j_kg": h_bubble[:, 0],
        "h_dew_j_kg": h_dew[:, 0],
        "log_p_sheet": log_p_sheet,
        "root_superheat": root_superheat,
        "root_subcooling": root_subcooling,
        "rho_liquid_kg_m3": rho_liquid,
        "h_liquid_j_kg": h_liquid,
        # p / (rho T): the gas constant times the compressibility factor, smoother than density.
        "z_vapour_j_kg_k": p_sheet[:, None] / (rho_vapour * t_vapour),
        "h_vapour_j_kg": h_vapour,
        "failed_nodes": np.array([int(np.isnan(solved[q]).sum()) for q in (0.0, 1.0)]),
        "fluid_name": np.array(name),
        "coolprop_version": np.array(CoolProp.__version__),
    }


def write(folder: Path) -> None:
    """Writes every table to ``folder``, one compressed file a refrigerant."""
    folder.mkdir(exist_ok=True)
    for refrigerant in Refrigerant:
        arrays: dict[str, Any] = build(refrigerant)
        np.savez_compressed(folder / f"{refrigerant.value.lower()}.npz", **arrays)


if __name__ == "__main__":
    write(Path(__file__).parent / "tables")
