"""What the readings say by themselves, whatever any forecast says: do they fall, and is the last one credible?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aerobe.inference import Measurement, Posterior

CLEAR = 1.3  # a fall over three readings that large, in standard errors of the difference, is clear [-]
FAR_OFF = 0.01  # a reading less probable than this asks first what happened [-]
NEXT_TO_NONE = 0.5  # oxygen at which most life in a brew is short of it [mg/L]
STANDS = 0.2  # transfer below this share is air that stands still [-]
LONG_WITHOUT_H = 4.0  # after so long what grows is no longer what the forecast knows; assumed [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """Three readings of one assay, each below the one before, and the last clearly below the first."""

    hours: tuple[float, float, float]
    values: tuple[float, float, float]

    def in_words(self) -> str:
        """Values and hours, for a sentence."""
        return ", ".join(f"{value:.3g} at {hour:.1f} h" for value, hour in zip(self.values, self.hours, strict=True))


def clear_fall(posterior: Posterior) -> Fall | None:
    """The fall that the last three readings show, unless food was added since the first of them."""
    counts = [item for item in posterior.measurements if item.quantity in ("biomass", "bacteria") and not item.above_range]
    if len(counts) < 3:
        return None
    ordered = sorted(counts, key=lambda item: item.elapsed_h)
    last = ordered[-1]
    same = [item for item in ordered if (item.assay, item.quantity) == (last.assay, last.quantity)][-3:]
    if len(same) < 3 or any(feed >= same[0].elapsed_h for feed in posterior.feeds_h):
        return None
    first, middle, _ = same
    if not first.value > middle.value > last.value or first.elapsed_h >= last.elapsed_h:
        return None
    error = float(np.hypot(_log_error(first), _log_error(last)))
    if np.log(first.value / max(last.value, 1e-9)) < CLEAR * error:
        return None
    return Fall(hours=(first.elapsed_h, middle.elapsed_h, last.elapsed_h), values=(first.value, middle.value, last.value))


def is_far_off(posterior: Posterior) -> bool:
    """Whether the latest reading was all but ruled out by what was known before it."""
    return posterior.last_tail is not None and posterior.last_tail < FAR_OFF


def hours_without_oxygen(posterior: Posterior, now_h: float) -> float:
    """Hours up to now with next to no oxygen, as the log shows or, beyond it, as follows from air that was off. [h]"""
    times = posterior.times_h
    known = np.zeros(len(times), bool)
    if posterior.logged_until_h is not None:
        known |= times <= posterior.logged_until_h + 1e-9
    if posterior.air is not None:
        known |= posterior.air < STANDS
    known &= times <= now_h + 1e-9
    starved = np.median(posterior.oxygen[:, known], axis=0) < NEXT_TO_NONE
    return float(np.sum(np.gradient(times)[known][starved]))


def _log_error(item: Measurement) -> float:
    near_nought = item.error.constant_sd / max(item.value, item.error.constant_sd, 1e-9)
    return float(np.sqrt(np.log1p(item.error.proportional_cv**2) + near_nought**2))
