"""What a pH log says of a brew: acids where oxygen lacked, ammonia where protein is taken apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._story import Log

ACID, ALKALINE = 5.0, 9.0  # common practice, no source for the first; at the second a quarter of ammonium is free ammonia [pH]
SEEN_H = 0.5  # one odd value is a probe that was moved [h]


def ammonia_share(ph: float, temperature_degc: float) -> float:
    """Share of dissolved ammonium that is free ammonia. [-]

    Parameters
    ----------
    ph
        As the probe shows it. [pH]
    temperature_degc
        Of the water. [degC]

    Source
    ------
    emerson-1975
    """
    pka = 0.09018 + 2729.92 / (273.15 + temperature_degc)
    return float(1.0 / (1.0 + 10.0 ** (pka - ph)))


def ph_notes(log: Log | None, temperature_degc: float) -> tuple[str, ...]:
    """Warnings that a pH log gives, in plain words; none from values that are no pH, or from a single odd one.

    Parameters
    ----------
    log
        Of pH.
    temperature_degc
        Of the water. [degC]

    Source
    ------
    emerson-1975
    """
    if log is None:
        return ()
    good = np.isfinite(log.values) & (log.values > 0.0) & (log.values < 14.0) & np.isfinite(log.elapsed_h)
    times, values = log.elapsed_h[good], log.values[good]
    notes: list[str] = []
    sour = values < ACID
    if _stays(times, sour):
        notes.append(
            f"pH fell to {values.min():.1f}: that is how a brew looks that ferments for want of oxygen, or one with acid foods. "
            "Growth of most bacteria slows; smell it, look at the air, and let the gates decide on a use."
        )
    if _stays(times, values > ALKALINE):
        share = ammonia_share(float(values.max()), temperature_degc)
        notes.append(
            f"pH rose to {values.max():.1f}: about {100.0 * share:.0f} % of any ammonium is free ammonia then, which harms "
            "microbes and roots. Protein-rich food does that; do not add more."
        )
    return tuple(notes)


def _stays(times: NDArray[np.float64], odd: NDArray[np.bool_]) -> bool:
    """Whether at least two odd values stand `SEEN_H` apart, or the latest of few values is odd."""
    at = times[odd]
    return bool(len(at) and (at.max() - at.min() >= SEEN_H or (len(times) < 4 and odd[-1])))
