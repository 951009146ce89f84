"""The call for a brew: what to do next, what would have been said at past hours, what the fit believes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cyclopts import App

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, now, progress, say, table
from aerobe.cli._pictures import save_picture
from aerobe.records import Brew

if TYPE_CHECKING:
    from aerobe.usecases.brews import Advice, Call

app = App(name="call", help="When to test next and when to harvest a brew, and what each choice is expected to lose.")


@app.default
def call(brew: str, /, *, where: Where = OWN) -> int:
    """What to do next with a brew. Exit code 4: the fit is not settled.

    Parameters
    ----------
    brew
        Key of the brew.
    """
    from aerobe.usecases.brews import advise_brew, call_in_words, plain_advice

    with where.open(create=False) as book:
        with progress("Working out the call"):
            advice = advise_brew(book, brew, now())
        spoken = call_in_words(book.get(Brew, brew), advice, now=now())
        say(plain_advice(advice), as_json=where.json, text=_lines(advice, spoken))
    return 0 if advice.settled else NOT_SETTLED


@app.command
def replay(brew: str, /, *, every: float = 4.0, until: float = 48.0, picture: Path | None = None, where: Where = OWN) -> None:
    """What the call would have been at past hours, by this brew's own readings up to then.

    Gates are not replayed, and what earlier brews taught is left out.

    Parameters
    ----------
    brew
        Key of the brew.
    every
        Hours between one call and the next. [h]
    until
        Last hour; none after the harvest, or that has not come. [h]
    picture
        Also draw it, to this file (.svg or .png).
    """
    from aerobe.usecases.brews import plain_advice, replay_brew, replay_hours, replay_picture, stand_in_words
    from aerobe.usecases.notebook import require_new

    require_new([picture])
    hours = replay_hours(every, until)
    with where.open(create=False) as book:
        with progress("Replaying the brew"):
            calls = replay_brew(book, brew, hours, now=now())
        rows = [
            (
                f"{item.now_h:.1f}",
                item.call,
                f"{item.at_h:.1f}",
                f"{item.window.start_h:.1f} to {item.window.end_h:.1f}",
                f"{100.0 * item.expected_loss:.0f}",
                "yes" if item.settled else "no",
            )
            for item in calls
        ]
        head = ("asked at h", "call", "for h", "harvest window h", "expected loss %", "settled")
        stand_in = stand_in_words(book, brew)
        lines = [*table(head, rows), *([f"Note: {stand_in}"] if stand_in else [])]
        if picture is not None:
            lines.append(save_picture(replay_picture(book, brew, calls), picture))
        say([plain_advice(item) for item in calls], as_json=where.json, text=lines)


@app.command
def beliefs(brew: str, /, *, where: Where = OWN) -> None:
    """What the fit believes of a brew: every term of the model with its 90 % interval.

    Parameters
    ----------
    brew
        Key of the brew.
    """
    from aerobe.units import number
    from aerobe.usecases.brews import beliefs_of_brew, stand_in_words

    with where.open(create=False) as book:
        with progress("Fitting the brew"):
            found = beliefs_of_brew(book, brew, now())
        rows = [(item["meaning"], *(number(item[name]) for name in ("median", "low", "high"))) for item in found]
        stand_in = stand_in_words(book, brew)
        text = [*table(("term of the model", "median", "5 %", "95 %"), rows), *([f"Note: {stand_in}"] if stand_in else [])]
        say(found, as_json=where.json, text=text)


def _lines(advice: Advice, call: Call) -> list[str]:
    oxygen, window = advice.oxygen, advice.window
    if call.window == call.because:  # no hour lies ahead
        return [f"{call.say}.", call.because, *(f"Note: {note}" for note in advice.notes)]
    lines = [f"{call.say}: {advice.because}." if advice.because[-1:] != "." else f"{call.say}: {advice.because}", call.window]
    lines.append(
        f"In hours since the air went on: now {advice.now_h:.1f}, the call {advice.at_h:.1f}, harvest {window.start_h:.1f} to "
        f"{window.end_h:.1f}, best {window.best_h:.1f}."
    )
    now = f"Oxygen now {oxygen.now_mg_per_l:.1f} mg/L ({oxygen.now_low:.1f} to {oxygen.now_high:.1f}). " if oxygen else ""
    lines += ["", f"{now}{call.oxygen_says}"]
    lines += [f"Held back by {gate.name}: {gate.why} {gate.how_it_opens}" for gate in advice.held_back_by]
    told = {f"{gate.name}: {gate.how_it_opens}" for gate in advice.held_back_by}
    lines += [f"Would change it: {line}" for line in advice.would_change if line not in told]
    lines += [f"Note: {line}" for line in advice.notes]
    return [*lines, "Local codes and licensed practice decide on any use of the tea."]
