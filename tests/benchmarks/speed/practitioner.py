"""What somebody competent would write in pandas for one system: the peer of ``analyse``.

Saturation by CoolProp on whole columns, subcooling and superheat from it, the direction of the
liquid from the two thermistors, steadiness and hunting by rolling statistics, a summary every 15
minutes. Far less than ``analyse`` does: no flow, no uncertainty, and every sensor is trusted.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from CoolProp.CoolProp import PropsSI

from diagnostics.samples import Samples

FLUIDS = {"R-410A": "R410A", "R-32": "R32", "R-454B": "R454B.mix"}
STEADY, HUNTING, LAG = "10min", "20min", "3min"


def table(samples: Samples) -> pd.DataFrame:
    """The samples as a practitioner holds them: one wide table indexed by time."""
    columns = dict(samples.outdoor)
    for name, rows in samples.indoor.items():
        columns |= {f"{name}_{at}": row for at, row in enumerate(rows)}
    return pd.DataFrame(columns, index=pd.DatetimeIndex(samples.time, name="time"))


def diagnose(log: pd.DataFrame, refrigerant: str) -> pd.DataFrame:
    """Rows of 15 minutes."""
    fluid = FLUIDS[refrigerant]
    known = log[["discharge_pressure", "suction_pressure"]].interpolate().bfill()
    high, low = known["discharge_pressure"].to_numpy(), known["suction_pressure"].to_numpy()
    running = log["compressor_speed"] > 0
    drop = log["liquid_temperature_outdoor_side"] - log["liquid_temperature_indoor_side"]
    smooth = drop.rolling(LAG).mean()
    direction = pd.Series(np.select([smooth > 0.5, smooth < -0.5], [1, -1], 0), log.index)
    liquid = log["liquid_temperature_outdoor_side"].where(
        direction > 0, log["liquid_temperature_indoor_side"]
    )
    found = pd.DataFrame(index=log.index)
    found["subcooling_k"] = PropsSI("T", "P", high, "Q", 0, fluid) - liquid
    found["discharge_superheat_k"] = log["discharge_temperature"] - PropsSI(
        "T", "P", high, "Q", 1, fluid
    )
    found["suction_superheat_k"] = log["suction_temperature"] - PropsSI(
        "T", "P", low, "Q", 1, fluid
    )
    found["direction"] = direction
    found["demand"] = log.filter(regex="^demand_").mean(axis=1)
    found["hunting"] = _hunting(log["subcooler_valve"])
    steady = running & (found["subcooling_k"].rolling(STEADY).std() < 1.0)
    steady &= log["compressor_speed"].rolling(STEADY).std() < 2.0
    return found.where(steady).resample("15min").mean()


def _hunting(valve: pd.Series) -> pd.Series:
    """1 where the valve keeps turning round by more than it trembles, else 0."""
    step = valve.diff()
    turned = (step * step.where(step != 0).ffill().shift() < 0).astype(float)
    turns = turned.rolling(HUNTING).sum()
    return ((turns >= 6) & (valve.rolling(HUNTING).std() > 0.03)).astype(float)
