"""The call: harvest now, wait until, or test at; with what each choice is expected to lose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.decisions._caution import disagreement_of
from aerobe.decisions._forecast import Forecast, forecast_of
from aerobe.decisions._lookahead import log_runs, value_of_looking, value_of_test
from aerobe.decisions._loss import losses
from aerobe.decisions._oxygen import OxygenOutlook, oxygen_outlook
from aerobe.decisions._plan import REPEAT_H, WORTH_ASKING, NextTest, Seen, Window, cautious, choose, next_test, window_of
from aerobe.decisions._trend import clear_fall, hours_without_oxygen, is_far_off
from aerobe.inference import Measurement, Posterior
from aerobe.records import AimChoice, Costs
from aerobe.safety import Gate
from aerobe.units import percent

Array = NDArray[np.float64]

LOOK_AHEAD_H = 48.0
# Of the loss that the draws expect, this much came true in brews of foreign laws (the six to tune on of `aerobe.worlds`), and
# with a log that runs: each draw strays by chance and has a peak of chance, which no brew need have.
BORNE_OUT, BORNE_OUT_WITH_LOG = 0.7, 0.55


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do next with a brew, why, and what would change it.

    Parameters
    ----------
    call
        "harvest now", "wait until" or "test at".
    at_h
        When, since aeration began. [h]
    because
        The reason in one sentence.
    expected_loss_now, expected_loss
        Of harvesting now, and of following the call; shares of the attainable. [-]
    window
        When a harvest is nearly as good as the best.
    next_test
        The best next test, whether or not it is worth its price; None without tests left or time.
    oxygen
        Now, ahead, and when it may cross the floor; None where recipe or air of the brew are not known.
    held_back_by
        Closed gates. While there is one, the call is never "harvest now".
    would_change
        What would turn the call.
    times_h, loss_by_time
        Expected loss of harvesting at each time ahead, shape (times,). [h, -]
    test_times_h, test_loss_by_time
        Expected loss after a test at each time, shape (times,); empty without tests.
    settled
        False: the posterior is not settled, and the call rests on a poor sample.
    notes
        What was found wrong with the data, in plain words.
    forecast
        Bands over time.
    """

    call: str
    at_h: float
    because: str
    now_h: float
    expected_loss_now: float
    expected_loss: float
    window: Window
    next_test: NextTest | None
    oxygen: OxygenOutlook | None
    held_back_by: tuple[Gate, ...]
    would_change: tuple[str, ...]
    times_h: Array
    loss_by_time: Array
    test_times_h: Array
    test_loss_by_time: Array
    settled: bool
    notes: tuple[str, ...]
    forecast: Forecast
    seed: int

    def as_text(self) -> str:
        """The call in a line or two, times since aeration began."""
        head = {
            "harvest now": "Harvest now",
            "wait until": f"Wait until {self.at_h:.1f} h",
            "test at": f"Test at {self.at_h:.1f} h",
        }[self.call]
        window = self.window
        return (
            f"{head}: {self.because} Harvest window {window.start_h:.1f} to {window.end_h:.1f} h, best {window.best_h:.1f} h: "
            f"you would catch {percent(1.0 - window.expected_loss)} of what this brew can give."
        )


def advise(
    posterior: Posterior,
    *,
    now_h: float,
    aim: AimChoice | None = None,
    costs: Costs | None = None,
    tests_left: int = 0,
    kit: Measurement | None = None,
    gates: tuple[Gate, ...] = (),
    seed: int = 1,
) -> Advice:
    """The call for a brew.

    Parameters
    ----------
    posterior
        Of the brew, from `inference.infer_brew`.
    now_h
        The present, since aeration began. [h]
    aim, costs
        What is wanted and what things cost; most biomass and the default prices if left out.
    tests_left
        How many more tests may be taken.
    kit
        A measurement with assay, quantity and error of the next test; its value and time are ignored.
    gates
        Safety and oxygen gates. A closed one forbids "harvest now" whatever would be gained.
    seed
        Fixes the results drawn when a test is valued.

    Source
    ------
    raiffa-schlaifer-1961
    """
    aim, costs, kit = aim or AimChoice(), costs or Costs(), kit or Measurement(elapsed_h=0.0, value=0.0)
    now_h = float(np.clip(now_h, 0.0, posterior.times_h[-1]))
    loss = (BORNE_OUT_WITH_LOG if log_runs(posterior, now_h) else BORNE_OUT) * losses(posterior, aim, costs)
    ahead = posterior.times_h >= now_h - 1e-9
    times, expected = posterior.times_h[ahead], loss[:, ahead].mean(axis=0)
    window = window_of(times, loss[:, ahead], expected)
    loss_now = float(posterior.value_at(loss, now_h).mean())
    value = None
    if tests_left > 0:
        until = min(now_h + LOOK_AHEAD_H, float(times[-1]))
        value = value_of_test(posterior, loss, now_h, kit, until_h=until, seed=seed)
    test = next_test(value, costs)
    closed = tuple(gate for gate in gates if not gate.is_open)
    oxygen = oxygen_outlook(posterior, now_h, aim.oxygen_floor_mg_per_l)
    look = value_of_looking(posterior, loss, now_h, seed=seed)
    plan = choose(window, loss_now, now_h, test, value, closed, look)
    plan = cautious(
        plan,
        loss_now,
        now_h,
        tests_left,
        closed,
        Seen(
            fall=clear_fall(posterior),
            apart=disagreement_of(posterior, times, loss[:, ahead], window.best_h),
            repeat=is_far_off(posterior) and posterior.last_result_h is not None and now_h <= posterior.last_result_h + REPEAT_H,
            starved_h=hours_without_oxygen(posterior, now_h),
            air_off_since_h=posterior.air_off_since_h,
        ),
    )
    call, at, because, loss_of_call = plan
    return Advice(
        call=call,
        at_h=at,
        because=because,
        now_h=now_h,
        expected_loss_now=loss_now,
        expected_loss=loss_of_call,
        window=window,
        next_test=test,
        oxygen=oxygen,
        held_back_by=closed,
        would_change=_would_change(call, window, test, closed, posterior),
        times_h=times,
        loss_by_time=expected,
        test_times_h=np.zeros(0) if value is None else value.times_h,
        test_loss_by_time=np.zeros(0) if value is None else value.expected_loss,
        settled=posterior.settled,
        seed=seed,
        notes=(*_asked_first(posterior), *posterior.notes),
        forecast=forecast_of(posterior),
    )


def _asked_first(posterior: Posterior) -> tuple[str, ...]:
    if not is_far_off(posterior):
        return ()
    return (
        "The last reading is far from all that was expected. First ask what happened: chlorinated water, a stopped pump, "
        "mixed-up samples, a wrong dilution?",
    )


def _would_change(
    call: str, window: Window, test: NextTest | None, closed: tuple[Gate, ...], posterior: Posterior
) -> tuple[str, ...]:
    out = [f"{gate.name}: {gate.how_it_opens}" for gate in closed]
    if call != "test at" and test is not None and test.loss_avoided > WORTH_ASKING:
        out.append(f"A test at {test.at_h:.1f} h would be worth taking if it cost less than {test.worth:.1f}.")
    if call == "wait until":
        out.append("A reading clearly below the one before it, or oxygen climbing back under the same air: food is spent.")
    if call == "harvest now":
        out.append("Food added now, or a reading clearly above the band.")
    if not posterior.settled:
        out.append("The fit is not settled: one more test, or a longer oxygen log, would help most.")
    return tuple(out)
