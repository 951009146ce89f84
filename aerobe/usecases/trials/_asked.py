"""Every question asked of a trial's brews is written down and counted: outcome, hour, test, margin, pair, and each look at it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import NotAllowed
from aerobe.notebook import Notebook
from aerobe.units import number, percent
from aerobe.verdicts import FULL, Allowance, Standing, allowance_now, share_of_later, share_of_side_question

KIND = "question asked"  # of kept results
EVERY_PAIR = "every pair"


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedQuestion:
    """What was asked of some brews."""

    outcome: str
    at_h: float | None = None  # [h]
    assay: str = ""
    margin: float | None = None  # [-]
    pair: str = ""  # two recipes, or every pair; empty for what the plan compares
    is_planned: bool = False  # the plan's own outcome, hour, test, margin and comparisons

    @property
    def words(self) -> str:
        """One line that tells it from others; the planned one is always the same question."""
        if self.is_planned:
            return "planned"
        hour = "" if self.at_h is None else f" at {number(self.at_h)} h"
        margin = "" if self.margin is None else f" with margin {number(self.margin)}"
        return f"{self.pair} {self.outcome}{hour} by {self.assay or 'the usual test'}{margin}".strip()


class NotAskedYet(NotAllowed):
    """An answer was to be shown again, and nobody has asked for it of the results that are here now."""


def was_asked(notebook: Notebook, subject: str, question: AskedQuestion, brews: int) -> bool:
    """Whether this was asked of so many brews before."""
    asked = {(item.payload["question"], item.payload["brews"]) for item in notebook.kept(KIND, subject)}
    return (question.words, brews) in asked


def require_asked(notebook: Notebook, subject: str, question: AskedQuestion, brews: int) -> None:
    """Refuse an answer that nobody asked for: each look at new results counts, so that it is asked for by name.

    Raises
    ------
    NotAskedYet
        If the question was not asked of these brews.
    """
    if not was_asked(notebook, subject, question, brews):
        raise NotAskedYet(
            "Nobody has asked this of the results that are here now; a look at them counts and opens the codes.",
            "Press 'Judge now' on the page of the trial, or 'Compare'. A program sends the same by POST.",
        )


def write_down(
    notebook: Notebook, subject: str, question: AskedQuestion, brews: int, *, now: datetime, of: Sequence[str] = ()
) -> None:
    """Note that this was asked with so many brews, and of which; asking the same again is no new question."""
    if not was_asked(notebook, subject, question, brews):
        notebook.keep(KIND, subject, {"question": question.words, "brews": brews, "of": list(of)}, at=now)


def asked_of(notebook: Notebook, subject: str, pair: str = "") -> tuple[str, ...]:
    """Keys of all brews that questions were asked of; with a pair, that questions about it were asked of."""
    asked = [item.payload for item in notebook.kept(KIND, subject) if item.payload["question"].startswith(pair)]
    return tuple(dict.fromkeys(key for payload in asked for key in payload.get("of", ())))


def standing_of(
    notebook: Notebook, subject: str, question: AskedQuestion, *, planned_brews: int | None, planned_is_told: bool
) -> Standing:
    """What the question may spend, from all that was asked before and is written down.

    Parameters
    ----------
    notebook
        Open notebook, with this question written down.
    subject
        Key of the trial.
    question
        That is asked now.
    planned_brews
        Of the run sheet; None without one.
    planned_is_told
        Whether the planned question is told, so that its allowance passes on.
    """
    asked = [(item.payload["question"], int(item.payload["brews"])) for item in notebook.kept(KIND, subject)]
    others = [words for words in dict.fromkeys(words for words, _ in asked) if words != "planned"]
    brews = [count for words, count in asked if words == question.words]
    looks = len(set(brews))
    if question.is_planned:
        allowance = allowance_now(brews, planned_brews)
        return Standing(
            allowance=allowance, looks=looks, side_questions=len(others), words=_look(brews, planned_brews, allowance)
        )
    place = others.index(question.words) + 1
    share = share_of_side_question(place, planned_is_told=planned_is_told) * share_of_later(looks)
    allowance = FULL.shared(share)
    said = f"Asked beside the planned question, as number {place}: a claim must hold at {_level(allowance)}."
    return Standing(allowance=allowance, looks=looks, side_questions=len(others), words=said)


def standing_of_pair(notebook: Notebook, subject: str, pair: str, pairs: int) -> Standing:
    """What a pair of recipes may spend where nobody planned which of so many pairs to look at."""
    asked = [item for item in notebook.kept(KIND, subject) if item.payload["question"].startswith(f"{pair} ")]
    looks = max(1, len(asked))
    allowance = FULL.shared((1.0 if looks == 1 and pairs > 1 else share_of_later(looks)) / pairs)
    said = f"One of {pairs} pairs of recipes that could be asked about" if pairs > 1 else "No trial was planned for it"
    return Standing(
        allowance=allowance,
        looks=looks,
        side_questions=0,
        words=f"{said}; question or look {looks} at this pair: a claim must hold at {_level(allowance)}.",
    )


def standing_of_table(place: int) -> Standing:
    """What a question about a table may spend that is the so-manieth: the first has all, those that follow share a fifth more."""
    allowance = FULL if place == 1 else FULL.shared(share_of_later(place))
    said = f"Question or look {place} at this table: a claim must hold at {_level(allowance)}." if place > 1 else ""
    return Standing(allowance=allowance, looks=place, side_questions=0, words=said)


def _look(brews: list[int], planned_brews: int | None, allowance: Allowance) -> str:
    if allowance == FULL:
        return ""
    latest, looks = max(brews), len(set(brews))
    if allowance.difference <= 0.0:
        return f"All {planned_brews} planned brews were judged before; more brews cannot change that claim. Plan a new trial."
    if planned_brews is None:
        return f"Look {looks} at these brews, with no number of brews planned: a claim must hold at {_level(allowance)}."
    return f"Interim analysis {looks}, at {latest} of {planned_brews} planned brews: a claim must hold at {_level(allowance)}."


def _level(allowance: Allowance) -> str:
    tail = allowance.difference
    return percent(1.0 - tail) if tail >= 0.01 else f"{100.0 * (1.0 - tail):.6g} %"
