"""A brew under way: how much may I feed now?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from aerobe.errors import NotAllowed, NotEnoughData
from aerobe.notebook import Notebook
from aerobe.oxygen import FOODS, FoodCeiling, food_ceiling
from aerobe.units import number
from aerobe.usecases.brews._behind_code import history_to_reckon
from aerobe.usecases.brews._beliefs import infer_history, need_recipe
from aerobe.usecases.oxygen._forecast import FoodQuestion, food_forecast
from aerobe.usecases.oxygen._questions import FOOD_CAUTION

_AHEAD_H = 18.0  # food given now is gone by then
_FEWEST, _MOST = 60, 600  # draws that can show a chance of nine in ten, and those that it is worth to reckon


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedNow:
    """How much of a food a brew can take now, by all that has been measured of it."""

    food: str
    now_h: float  # since aeration began [h]
    ceiling: FoodCeiling  # dose on top of what is in the recipe
    whole_g: float  # in the whole vessel [g]
    settled: bool  # whether the fit behind it can be trusted
    says: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def feed_now(notebook: Notebook, brew_key: str, food: str, *, now: datetime, probability: float = 0.9) -> FeedNow:
    """The largest dose of a food that a brew under way can take now without falling below its floor.

    Parameters
    ----------
    notebook
        The open notebook.
    brew_key, food
        Which brew, and which food.
    now
        The moment, with offset.
    probability
        Chance asked for. [-]

    Raises
    ------
    NotAllowed
        If the brew has ended or not begun.
    NotEnoughData
        If nobody said what went in, or the readings follow another law.
    """
    known = FOODS.find(food)
    history = history_to_reckon(notebook, brew_key)
    now_h = history.brew.hours_at(now)
    if history.harvest is not None or now_h < 0.0:
        raise NotAllowed("This brew is not under way.", "Ask about a planned brew with its recipe instead.")
    need_recipe(history)
    posterior = infer_history(notebook, history, now=now)
    question = FoodQuestion(
        recipe=history.recipe,
        vessel=history.vessel,
        food=known.key,
        floor_mg_per_l=history.brew.aim.oxygen_floor_mg_per_l,
        probability=probability,
        temperature_degc=_warmth(notebook, brew_key, history.brew.temperature_degc),
        hours=now_h + _AHEAD_H,
        feed_at_h=(round(now_h, 2),),
        from_h=now_h,
        on_top=True,
        highest_g_per_l=10.0,
    )
    # Draws of the other structures were made by other laws: carried through this one their scores foretell other brews.
    scores = posterior.own_scores[:_MOST]
    if len(scores) < _FEWEST:
        raise NotEnoughData(
            "The readings of this brew do not go by the balance of food and oxygen that a dose is reckoned with.",
            "Feed little, watch the oxygen, and write down both.",
        )
    found = food_ceiling(
        food_forecast(question, scores=scores),
        floor_mg_per_l=question.floor_mg_per_l,
        probability=probability,
        highest_g_per_l=question.highest_g_per_l,
        tolerance=0.04,
    )
    whole = (found.dose_g_per_l or 0.0) * history.vessel.volume_l
    return FeedNow(
        food=known.name,
        now_h=now_h,
        ceiling=found,
        whole_g=whole,
        settled=posterior.settled,
        notes=posterior.notes,
        says=_say(known.name, found, whole, posterior.settled),
        cautions=(FOOD_CAUTION,),
    )


def _warmth(notebook: Notebook, brew_key: str, expected: float) -> float:
    times, values = notebook.log(brew_key, "temperature")
    return float(np.mean(values[times >= times[-1] - 6.0])) if len(times) else expected


def _say(food: str, found: FoodCeiling, whole_g: float, settled: bool) -> str:
    if not settled:
        return "Not settled: the fit of this brew cannot be trusted, so no dose is named. Look at its readings first."
    floor, chance = f"{found.floor_mg_per_l:g} mg/L", f"{100 * found.probability:.0f} %"
    if found.dose_g_per_l is None:
        return f"Feed nothing now: even so oxygen stays above {floor} with a chance of only {100 * found.chance:.0f} %."
    upto = "at least " if found.beyond_range else "up to "
    return (
        f"This brew takes {upto}{number(found.dose_g_per_l, 2)} g/L of {food} now ({number(whole_g, 2)} g in the vessel) and "
        f"stays above {floor} with a chance of {chance}."
    )
