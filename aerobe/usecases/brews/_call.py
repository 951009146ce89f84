"""The call in the brewer's words and on the brewer's clock, ready for a page, a notice or a calendar."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from aerobe.records import Brew
from aerobe.units import percent
from aerobe.usecases.brews._behind_code import BEHIND_CODE
from aerobe.usecases.brews._reminders import Reminder
from aerobe.usecases.notebook._moments import spoken

if TYPE_CHECKING:
    from aerobe.decisions import Advice, OxygenOutlook, Window

SOON_H = 0.5  # an hour that near has come [h]
LONG_AGO_H = (
    12.0  # a call is asked anew long before it is that old; only a course that is followed no further lies so far back [h]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """What to do next with a brew.

    Parameters
    ----------
    say
        The call, for example "Test at 14:10".
    window
        When to harvest and what that is expected to lose.
    hold
        A gate is closed, or the fit is not settled: do not act on the numbers alone.
    due_at
        When it is time.
    crosses_at
        When oxygen is forecast to fall below the floor; None if it is not.
    """

    call: str
    say: str
    because: str
    window: str
    hold: bool
    held_back_by: tuple[tuple[str, str], ...]  # why, how it opens
    would_change: tuple[str, ...]
    notes: tuple[str, ...]  # what was found in the data
    settled: bool
    due_at: datetime
    window_from: datetime
    window_best: datetime
    window_to: datetime
    crosses_at: datetime | None
    crossing_probability: float
    oxygen_says: str
    stand_in: str  # said where the recipe is behind a code and a stand-in was reckoned; else empty
    made_at: datetime


def call_in_words(brew: Brew, advice: Advice, *, now: datetime) -> Call:
    """The call from `decisions.Advice`, on the clock of `now`."""

    def at(hours: float) -> datetime:
        return brew.started_at.astimezone(now.tzinfo) + timedelta(hours=hours)

    window, oxygen = advice.window, advice.oxygen
    due = at(advice.at_h)
    # The hour has come and only gates hold: what helps is not to wait but to settle them.
    ripe = advice.call == "wait until" and advice.held_back_by and window.best_h <= advice.now_h + SOON_H
    say = (
        "Hold back: settle this first"
        if ripe
        else {
            "harvest now": "Harvest now",
            "wait until": f"Wait until {spoken(due, now)}",
            "test at": "Test now" if due <= now + timedelta(minutes=10) else f"Test at {spoken(due, now)}",
        }[advice.call]
    )
    forgotten = _forgotten(brew, advice, now)
    stand_in = BEHIND_CODE if BEHIND_CODE in advice.notes and not forgotten else ""
    crosses = at(oxygen.crosses_at_h) if oxygen is not None and oxygen.crosses_at_h is not None else None
    return Call(
        call=advice.call,
        say="Nothing is forecast of this brew any more" if forgotten else say,
        because=FORGOTTEN if forgotten else _sentence(advice.because),
        # The window goes alone into calendars and onto the wall, so it says by itself what it was reckoned for.
        window=FORGOTTEN if forgotten else f"{_window(window, at, now)} {stand_in}".strip(),
        settled=advice.settled,
        hold=bool(advice.held_back_by) or not advice.settled or forgotten,
        held_back_by=tuple((gate.why, gate.how_it_opens) for gate in advice.held_back_by),
        would_change=tuple(advice.would_change),
        notes=tuple(advice.notes),
        due_at=due,
        window_from=at(window.start_h),
        window_best=at(window.best_h),
        window_to=at(window.end_h),
        crosses_at=crosses,
        crossing_probability=oxygen.probability_below if oxygen is not None else 0.0,
        oxygen_says=_oxygen(oxygen, crosses, now) if oxygen is not None and not forgotten else NO_OUTLOOK,
        stand_in=stand_in,
        made_at=at(advice.now_h),
    )


def _forgotten(brew: Brew, advice: Advice, now: datetime) -> bool:
    """Whether the course ended long before this moment: nobody ended the brew, and an hour that is over is no time to harvest."""
    return brew.hours_at(now) > max(advice.window.end_h, advice.now_h) + LONG_AGO_H


FORGOTTEN = "It has gone on longer than any course is followed. If it is over, note when it was harvested."
NO_OUTLOOK = "No oxygen is forecast: that takes what went in and how air reaches it. Measure it."


def reminders_of(brew: Brew, call: Call) -> tuple[Reminder, ...]:
    """What the call asks for later: the next test, and the harvest."""
    harvest = Reminder(
        brew=brew.key,
        brew_name=brew.name,
        what="harvest",
        says=call.window,
        at=max(call.window_from, min(call.window_best, call.window_to)),
        until=call.window_to,
    )
    if call.window == FORGOTTEN:
        return ()
    if call.call != "test at":
        return (harvest,)
    says = f"{call.say}: {call.because} {call.stand_in}".strip()
    test = Reminder(brew=brew.key, brew_name=brew.name, what="test", says=says, at=call.due_at)
    return (test, harvest)


def _window(window: Window, at: Callable[[float], datetime], now: datetime) -> str:
    caught = f"You would catch {percent(1.0 - window.expected_loss)} of what this brew can give."
    start, best, end = at(window.start_h), at(window.best_h), at(window.end_h)
    if end - start < timedelta(minutes=20):
        return f"Harvest at {spoken(best, now)}. {caught}"
    first = "now" if start <= now else spoken(start, now)
    return f"Harvest between {first} and {spoken(end, now)}, best {'now' if best <= now else spoken(best, now)}. {caught}"


def _oxygen(oxygen: OxygenOutlook, crosses: datetime | None, now: datetime) -> str:
    floor = f"{oxygen.floor_mg_per_l:g} mg/L"
    if oxygen.now_mg_per_l < oxygen.floor_mg_per_l:
        return f"Below the floor of {floor} now: more air, or less food."
    if crosses is None:
        return f"Lowest ahead {oxygen.lowest_mg_per_l:.1f} mg/L; stays above the floor of {floor}."
    percent = f"{100.0 * oxygen.probability_below:.0f} %"
    return f"May fall below the floor of {floor} near {spoken(crosses, now)} (chance {percent})."


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:]
