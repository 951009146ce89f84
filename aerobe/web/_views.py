"""What several pages ask for of a brew: its call, and what is wrong with its probes."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Request

from aerobe import usecases
from aerobe.records import Brew
from aerobe.web._frame import clock_of, notebook_of
from aerobe.web._thinker import Thinker, Thought


@dataclass(frozen=True, slots=True, kw_only=True)
class CallView:
    """The call as a page shows it."""

    thought: Thought[usecases.brews.Advice] | Thought[usecases.brews.Hindsight]
    call: usecases.brews.Call | None
    able: bool


def thinker_of(request: Request) -> Thinker[usecases.brews.Advice]:
    """The worker that finds calls."""
    found: Thinker[usecases.brews.Advice] = request.app.state.thinker
    return found


def call_of(request: Request, brew: Brew, *, urgent: bool = False) -> CallView:
    """What is known of a brew's call now. The one place where advice reaches the pages."""
    thinker = thinker_of(request)
    thought = thinker.look(brew.key, urgent=urgent)
    call = usecases.brews.call_in_words(brew, thought.advice, now=clock_of(request)) if thought.advice is not None else None
    return CallView(thought=thought, call=call, able=thinker.able)


def hindsight_of(request: Request, brew: Brew) -> CallView:
    """What is known of an ended brew; there is no call in it, for nothing is left to decide."""
    found: Thinker[usecases.brews.Hindsight] = request.app.state.hindsight
    return CallView(thought=found.look(brew.key), call=None, able=found.able)


def troubles_of(request: Request, brew: Brew) -> tuple[usecases.brews.ProbeTrouble, ...]:
    """What is wrong with the probes of a brew."""
    return usecases.brews.live_troubles(notebook_of(request), brew, now=clock_of(request))
