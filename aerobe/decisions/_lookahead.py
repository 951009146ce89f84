"""What a test would be worth: for each time it could be taken, what it may show and what would then be done.

Preposterior analysis (raiffa-schlaifer-1961) on the draws themselves: a draw is taken as the truth, a result is drawn for
it, all draws are weighted by how well they fit that result, and the best harvest after the test is read off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference import Measurement, Posterior, expected_result, lacking_and_error, one_blas_thread, result_errors

Array = NDArray[np.float64]

DRAWS = 1000  # courses used at most
TRUTHS = 100  # courses that play the truth; with a third of them the noise cost brews half a per cent
STEP_H = 1.5  # spacing of the times considered [h]
LOOKS_H = (2.0, 4.0, 6.0, 9.0, 12.0)  # from now on, when the log is looked at again [h]
LOG_IS_OLD_H = 2.0  # a log that ended longer ago no longer runs [h]
GAP_DRIFT, GAP_MEMORY_H = 0.35, 6.0  # what else moves the log of that gap: foam, fouling, what is eaten [-, h]
PROBE_NOISE = 0.1  # of a mean over half an hour [mg/L]


@dataclass(frozen=True, slots=True, kw_only=True)
class TestValue:
    """Expected loss of testing at each of some times and then doing the best.

    Parameters
    ----------
    times_h
        Shape (times,). [h]
    expected_loss
        Share of the attainable, the tests' own price not counted, shape (times,). [-]
    without
        Expected loss of the best harvest time chosen now, without a test. [-]
    """

    times_h: Array
    expected_loss: Array
    without: float

    @property
    def best(self) -> int:
        """Place of the best time."""
        return int(np.argmin(self.expected_loss))

    @property
    def least(self) -> float:
        """Expected loss after the best test. [-]"""
        return float(self.expected_loss[self.best])

    @property
    def gain(self) -> float:
        """Loss avoided by the best test. [-]"""
        return max(0.0, self.without - float(self.expected_loss[self.best]))


def value_of_test(
    posterior: Posterior,
    loss: Array,
    now_h: float,
    kit: Measurement,
    *,
    until_h: float,
    seed: int,
) -> TestValue | None:
    """Expected loss if one more test is taken, for times from now on; None if no time is left.

    Parameters
    ----------
    posterior
        Courses, equally likely.
    loss
        Of harvesting at each time, shape (draws, times). [-]
    now_h
        The present. [h]
    kit
        A measurement whose assay, quantity and error the next test would have.
    until_h
        Latest time considered. [h]
    seed
        Fixes the results drawn.

    Notes
    -----
    One test ahead only. Counting in the chance of a second test was tried and harvested no better on brews of another
    simulator: it put tests off on the strength of detail that the model does not really know.

    Source
    ------
    raiffa-schlaifer-1961
    """
    ahead = posterior.times_h >= now_h - 1e-9
    every = max(1, len(loss) // DRAWS)
    times, loss = posterior.times_h[ahead], loss[::every, ahead]
    if len(times) < 2:
        return None
    rng = np.random.default_rng([seed, 23])
    signal = expected_result(posterior, kit)[::every, ahead]
    inside, noise = result_errors(kit, signal)
    # A second test at once would only repeat the first; the brew must have had time to change.
    last = posterior.last_result_h
    places = _places(times, now_h if last is None else max(now_h, last + STEP_H), until_h, STEP_H)
    if not len(places):
        return None
    truths = (np.arange(TRUTHS) * (len(loss) / TRUTHS)).astype(np.int64)
    expected = np.empty(len(places))
    with one_blas_thread():
        for i, place in enumerate(places):
            weights = _weights(inside[:, place], noise, truths, rng)
            expected[i] = (weights @ loss[:, place:]).min(axis=1).mean()
    return TestValue(times_h=times[places], expected_loss=expected, without=float(loss.mean(axis=0).min()))


def value_of_looking(posterior: Posterior, loss: Array, now_h: float, *, seed: int) -> TestValue | None:
    """Expected loss if the oxygen log runs on and is looked at again; None without a log that reaches to now.

    A log costs nothing to look at again, and a harvest cannot be taken back: what is forgone by waiting for more of the log is
    only what the brew loses in a few hours.

    Parameters
    ----------
    posterior
        Courses, equally likely.
    loss
        Of harvesting at each time, shape (draws, times). [-]
    now_h
        The present. [h]
    seed
        Fixes the errors drawn.

    Source
    ------
    raiffa-schlaifer-1961
    """
    if not log_runs(posterior, now_h):
        return None
    ahead = posterior.times_h >= now_h - 1e-9
    every = max(1, len(loss) // DRAWS)
    times, loss = posterior.times_h[ahead], loss[::every, ahead]
    steps = [step for step in LOOKS_H if now_h + step < times[-1]]
    if not steps:
        return None
    oxygen = posterior.oxygen[::every]
    lacking, size = lacking_and_error(oxygen, np.asarray(oxygen.max()))
    shown, size = (
        np.stack([posterior.value_at(item, now_h + step) for step in (0.0, *steps)], axis=1) for item in (lacking, size)
    )
    places = np.searchsorted(times, now_h + np.array(steps) - 1e-9)
    rng = np.random.default_rng([seed, 29])
    truths = (np.arange(TRUTHS) * (len(loss) / TRUTHS)).astype(np.int64)
    far, expected = np.zeros((len(truths), len(loss))), np.empty(len(steps))
    with one_blas_thread():
        for i in range(len(steps)):
            # What oxygen does from one look to the next, on the log scale of what lacks: uptake over transfer.
            moved = shown[:, i + 1] - shown[:, i]
            hours = steps[i] - (steps[i - 1] if i else 0.0)
            noise = np.sqrt(GAP_DRIFT**2 * -np.expm1(-hours / GAP_MEMORY_H) + (PROBE_NOISE * size[:, i + 1]) ** 2)
            seen = moved[truths] + noise[truths] * rng.standard_normal(len(truths))
            far += ((seen[:, None] - moved[None]) / noise[None]) ** 2
            log_w = -3.0 * np.log1p(far / 3.0)
            w = np.exp(log_w - log_w.max(axis=1, keepdims=True))
            w /= w.sum(axis=1, keepdims=True)
            expected[i] = (w @ loss[:, places[i] :]).min(axis=1).mean()
    return TestValue(times_h=times[places], expected_loss=expected, without=float(loss.mean(axis=0).min()))


def log_runs(posterior: Posterior, now_h: float) -> bool:
    """Whether an oxygen log reaches to an hour, or nearly so. [h]"""
    until = posterior.logged_until_h
    return until is not None and now_h <= until + LOG_IS_OLD_H


def _places(times: Array, start_h: float, until_h: float, step_h: float) -> NDArray[np.int64]:
    wanted = np.arange(start_h, until_h + 1e-9, step_h)
    return np.unique(np.clip(np.searchsorted(times, wanted - 1e-9), 0, len(times) - 1))


def _weights(inside: Array, noise: float, truths: NDArray[np.int64], rng: np.random.Generator) -> Array:
    """Weights of all draws after a result drawn for each truth, shape (truths, draws)."""
    seen = inside[truths] + noise * rng.standard_normal(len(truths))
    # A t with few degrees, as in the likelihood: a normal would promise more from a test than it will keep.
    log_w = -3.0 * np.log1p(((seen[:, None] - inside[None, :]) / noise) ** 2 / 3.0)
    w = np.exp(log_w - log_w.max(axis=1, keepdims=True))
    return np.asarray(w / w.sum(axis=1, keepdims=True))
