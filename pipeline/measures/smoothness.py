"""How smooth a movement is, from its speed: spectral arc length. Numbers in, numbers out.

As defined by Balasubramanian, Melendez-Calderon and Burdet 2012 (IEEE Trans Biomed Eng, doi 10.1109/TBME.2011.2179545) and
Balasubramanian, Melendez-Calderon, Roby-Brami and Burdet 2015 (J NeuroEng Rehabil, doi 10.1186/s12984-015-0090-9). It does not depend
on how large or how long the movement is, and falls with every stop and second start.
"""

from __future__ import annotations

import numpy as np

MOST_HZ = 10.0  # body movements of children hold little above it, and a phone at 24 to 30 frames a second shows nothing over 12 to 15
AMPLITUDE = 0.05  # of the spectrum's height at 0 Hz; beyond the last frequency that reaches it, it is noise
PADDING = 4  # powers of two by which the speed is filled up with zeros, for a finely drawn spectrum


def spectral_arc_length(speed: np.ndarray, rate: float, *, most_hz: float = MOST_HZ, amplitude: float = AMPLITUDE) -> float:
    """Negative length of the curve that the speed's amplitude spectrum draws from 0 Hz to the adaptive cutoff; no unit.

    speed (n,), no gaps, from rest to rest, evenly spaced at `rate` a second. NaN for fewer than 4 values or no movement at all.
    The spectrum is divided by its highest value and the frequencies by the cutoff: the last frequency up to most_hz at which the
    amplitude is still `amplitude` or more.
    """
    speed = np.asarray(speed, float)
    if len(speed) < 4 or not np.isfinite(speed).all() or not np.any(speed):
        return float("nan")
    count = 2 ** (int(np.ceil(np.log2(len(speed)))) + PADDING)
    height = np.abs(np.fft.rfft(speed, count))
    frequency = np.arange(len(height)) * rate / count
    height = height / height.max()
    kept = np.flatnonzero((frequency <= most_hz) & (height >= amplitude))
    if len(kept) == 0 or kept[-1] == kept[0]:
        return float("nan")
    span = slice(kept[0], kept[-1] + 1)
    along = np.diff(frequency[span]) / (frequency[kept[-1]] - frequency[kept[0]])
    return -float(np.sum(np.hypot(along, np.diff(height[span]))))
