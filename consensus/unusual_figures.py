"""Figures of a sheet that lie beyond what its cells typically show: z-scores with the usual limits.

z is the distance of ln(reading) from the cell's centre in the spread of one unit, that of the centre
added (ISO 13528:2015, 9.5: z' where that is not negligible).  A closed contact is unusual only where it reads
high, as its acceptance range is one-sided.  Beyond 2 is a warning, from 3 on a signal for action (9.4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.resistance import CENTRE_U
from consensus.results import OhmFigures
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def z_scores(
    place: IntArray, ohms: FloatArray, figures: list[OhmFigures | None], closed: BoolArray, settings: Settings
) -> FloatArray:
    """(n,) z of readings in Ω, leads subtracted.  figures, closed: of each place."""
    known = [(one.typical, one.spread, one.values) if one else (1.0, 1.0, 1) for one in figures]
    typical, spread, units = np.array(known).reshape(-1, 3).T
    shift = np.where(closed, settings.meter_resolution_ohm / 2, 0.0)[place]
    away = np.log(np.maximum(ohms + shift, 1e-3)) - np.log(np.maximum(typical[place] + shift, 1e-3))
    z = away / (spread * np.sqrt(1 + CENTRE_U**2 / units))[place]
    return np.where(closed[place], np.maximum(z, 0.0), z)
