"""From expected losses to a plan: by the losses alone, then with what readings and disagreeing structures say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.decisions._caution import Disagreement
from aerobe.decisions._lookahead import TestValue
from aerobe.decisions._trend import LONG_WITHOUT_H, Fall
from aerobe.records import Costs
from aerobe.safety import Gate
from aerobe.units import amount, percent

Array = NDArray[np.float64]

Plan = tuple[str, float, str, float]
"""Call, hour [h], reason, expected loss [-]."""

WINDOW_LOSS = 0.03  # harvest times within this of the best belong to the window [-]
NEAR_H = 0.5  # a best time closer than this is now [h]
REPEAT_H = 3.0  # so long after a reading that is far off, a repeat tells more than a harvest [h]
AIR_BACK_H = 1.0  # to look again when the air should be back [h]
SOON_H = 2.0  # to look again after a brew in trouble [h]
WORTH_LOOKING = 0.002  # more avoided loss than this is worth looking at a log again before a harvest [-]
WORTH_ASKING = 1e-4  # less avoided loss than this is noise of the draws [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Harvest times whose expected loss is within `WINDOW_LOSS` of the best.

    Parameters
    ----------
    start_h, best_h, end_h
        Since aeration began. [h]
    expected_loss
        At the best time, share of the attainable. [-]
    probability
        That this course's own best time lies in the window. [-]
    """

    start_h: float
    best_h: float
    end_h: float
    expected_loss: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """The test that would help most.

    Parameters
    ----------
    at_h
        When to take the sample. [h]
    worth
        Loss it avoids, in money. [money]
    price
        What it costs. [money]
    loss_avoided
        The same as a share of the attainable. [-]
    """

    at_h: float
    worth: float
    price: float
    loss_avoided: float


def window_of(times: Array, loss: Array, expected: Array) -> Window:
    """The window around the time of least expected loss; `loss` has shape (draws, times), `expected` is its mean."""
    best = int(np.argmin(expected))
    good = expected <= expected[best] + WINDOW_LOSS
    # The stretch around the best time; a second good stretch later is not part of the window.
    start, end = best, best
    while start > 0 and good[start - 1]:
        start -= 1
    while end < len(times) - 1 and good[end + 1]:
        end += 1
    own = np.argmin(loss, axis=1)
    return Window(
        start_h=float(times[start]),
        best_h=float(times[best]),
        end_h=float(times[end]),
        expected_loss=float(expected[best]),
        probability=float(np.mean((own >= start) & (own <= end))),
    )


def next_test(value: TestValue | None, costs: Costs) -> NextTest | None:
    """The best next test of those valued."""
    if value is None:
        return None
    # Later is as good where the loss is flat: the earliest time within a hair of the best leaves the most room to act.
    flat = np.flatnonzero(value.expected_loss <= value.expected_loss[value.best] + 5e-4)
    return NextTest(
        at_h=float(value.times_h[flat[0]]),
        worth=value.gain * costs.worth_of_full_brew,
        price=costs.test,
        loss_avoided=value.gain,
    )


def choose(
    window: Window,
    loss_now: float,
    now_h: float,
    test: NextTest | None,
    value: TestValue | None,
    closed: tuple[Gate, ...],
    look: TestValue | None = None,
) -> Plan:
    """By expected loss alone: a test if it is worth its price, else a harvest at the best time, unless a log that runs on will
    tell more than waiting for it loses."""
    if test is not None and value is not None and test.loss_avoided > WORTH_ASKING and test.worth > test.price:
        reason = f"one more test costs {amount(test.price)} and is worth {amount(round(test.worth))} to you."
        return "test at", test.at_h, reason, float(value.expected_loss[value.best])
    # Before a later best hour the log runs on anyway; only a harvest before the next look would forgo it.
    saved = 0.0 if look is None or window.best_h >= look.times_h[0] else min(loss_now, window.expected_loss) - look.least
    if look is not None and saved > WORTH_LOOKING:
        # The first look, not the best one: what it shows may change the plan.
        reason = f"the log will tell more; looking again is expected to save {percent(saved)} of what this brew can give."
        return "wait until", float(look.times_h[0]), reason, look.least
    if window.best_h <= now_h + NEAR_H or loss_now <= window.expected_loss + 1e-3:
        if closed:
            reason = f"the time is right, but {closed[0].why[:1].lower()}{closed[0].why[1:].rstrip('.')}."
            return "wait until", now_h + NEAR_H, reason, loss_now
        return (
            "harvest now",
            now_h,
            f"waiting is not expected to gain anything: now would catch {percent(1.0 - loss_now)} of what this brew can give.",
            loss_now,
        )
    gain = loss_now - window.expected_loss
    return (
        "wait until",
        window.best_h,
        f"waiting is expected to catch {percent(gain)} more of what this brew can give.",
        window.expected_loss,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What speaks for care, whatever the expected losses say."""

    fall: Fall | None  # of the last readings
    apart: Disagreement  # of the structures
    repeat: bool  # the last reading is far from all that was expected
    starved_h: float = 0.0  # next to no oxygen for so long [h]
    air_off_since_h: float | None = None  # [h]


def cautious(
    plan: Plan,
    loss_now: float,
    now_h: float,
    tests_left: int,
    closed: tuple[Gate, ...],
    seen: Seen,
) -> Plan:
    """The plan after what readings say by themselves, and where the structures disagree."""
    call, at, because, loss = plan
    fall, apart, starved_h, air_off_since_h = seen.fall, seen.apart, seen.starved_h, seen.air_off_since_h
    if seen.repeat and tests_left > 0 and call != "test at":
        return "test at", now_h, "the last reading is far from all that was expected; repeat it before acting on it.", loss
    if fall is not None and call == "wait until" and at > now_h + NEAR_H and not closed:
        reason = f"the last three readings fell clearly ({fall.in_words()}); the forecast hopes for more, the readings win."
        return "harvest now", now_h, reason, loss_now
    if air_off_since_h is not None and air_off_since_h <= now_h and starved_h < LONG_WITHOUT_H and call != "test at":
        reason = (
            f"the air stands still since {air_off_since_h:.1f} h. Bring it back first and look again then; what the brew still "
            "gains is told for air that is back soon."
        )
        return "wait until", now_h + AIR_BACK_H, reason, loss
    if starved_h >= LONG_WITHOUT_H and call != "test at" and (call == "wait until" or air_off_since_h is not None):
        reason = (
            f"next to no oxygen for {starved_h:.0f} h, by log or by air that was off: what grows then is not foreseen, and no "
            "gain is promised. "
            "Bring air in now, or discard the brew."
        )
        return call, min(at, now_h + SOON_H), reason, loss
    if call == "wait until" and apart.is_large and at > now_h + NEAR_H:
        hours = f"best at {apart.first_h:.0f} h or at {apart.last_h:.0f} h"
        if tests_left > 0:
            look = max(now_h + NEAR_H, min(at, apart.first_h))
            return call, look, f"{because[:-1]}; two ways to see this brew disagree ({hours}): look again then.", loss
        return call, at, f"{because[:-1]}; two ways to see this brew disagree ({hours}), and only a test could tell.", loss
    return plan
