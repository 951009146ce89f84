"""What was changed of a trial's results after somebody had seen them: it is said, and a claim must stand without it, too."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aerobe.errors import AerobeError
from aerobe.notebook import TAKEN_BACK, Change, Notebook
from aerobe.records import Brew, Reading, from_plain
from aerobe.usecases.trials._asked import KIND as ASKED
from aerobe.usecases.trials._asked import asked_of
from aerobe.verdicts import CANNOT_TELL, Rival, Verdict, hold_back

KIND = "changed after a look"  # of kept results, under the trial's key: it goes along with every copy
TOO_EARLY = timedelta(hours=2)  # clocks of two devices may differ by less (our choice, no source)
Readings = Mapping[str, Sequence[Reading]]  # by brew


@dataclass(frozen=True, slots=True, kw_only=True)
class Afterwards:
    """The results as they stood at the first look, and what was changed since."""

    words: tuple[str, ...]
    brews: tuple[Brew, ...]  # as they were, those begun since included
    readings: Readings  # as they were, with those of brews that had none and controls that were added


def changed_afterwards(
    notebook: Notebook, subject: str, brews: Sequence[Brew], belongs: Callable[[Brew], bool], pair: str = ""
) -> Afterwards | None:
    """What was changed since these brews were first judged; None if nothing was.

    New brews, their readings and controls that were missing are no changes. A sample tested again is one if not all brews were.

    Parameters
    ----------
    notebook
        Open notebook.
    subject
        What questions were asked of: the key of a trial, or the recipes.
    brews
        As they stand.
    belongs
        Whether a brew, as it was, is one of them.
    pair
        Two recipes: only questions about them count.
    """
    look = _first_look(notebook, subject, pair)
    if look is None:
        return None
    words: list[str] = []
    were: list[Brew] = []
    then: dict[str, Sequence[Reading]] = {}
    again: list[str] = []
    seen = 0
    now = {brew.key: brew for brew in brews}
    for key in dict.fromkeys([*now, *asked_of(notebook, subject, pair)]):
        lines = notebook.audit(brew=key)
        was = _as_it_was(lines, look) or now.get(key)
        if was is None or not belongs(was):
            continue
        were.append(was)
        if key not in now:
            words.append(f"brew {key} was taken out of {'the two recipes' if pair else 'the trial'}")
        elif _stood(was) != _stood(now[key]):
            words.append(f"brew {key} was of {_place(was)} and became one of {_place(now[key])}")
        stood, stands, added = _readings_then(notebook, key, lines, look)
        lost = [item for item in stood if item.key not in {one.key for one in stands}]
        words += [f"brew {key}: {item.role} of {item.elapsed_h:g} h was {item.typed_as or item.signal}" for item in lost]
        sampled = any(item.role == "sample" for item in stood)
        seen += sampled
        fresh = [item for item in added if item.role == "sample"] if sampled else []
        again += [key] if fresh else []
        then[key] = [*stood, *(item for item in added if item not in fresh)]
    if again and len(again) < seen:
        words.append(f"{', '.join(again)} tested again and others not")
    elif not words:
        return None
    return Afterwards(words=tuple(words), brews=tuple(were), readings=then)


def _first_look(notebook: Notebook, subject: str, pair: str) -> int | None:
    """Where in the order of writing the first question stands; None if none was asked, or it was asked in another notebook."""
    lines = [line.id for line in notebook.audit(key=subject) if line.noun == ASKED]
    asked = notebook.kept(ASKED, subject)
    of_pair = [i for i, item in enumerate(asked[-len(lines) :] if lines else ()) if item.payload["question"].startswith(pair)]
    return lines[of_pair[0]] if of_pair else None


def _stood(brew: Brew) -> tuple[str, str, str]:
    return brew.arm or brew.recipe, brew.block, brew.vessel


def _place(brew: Brew) -> str:
    return ", ".join(part for part in (brew.arm or brew.recipe, brew.vessel, brew.block) if part)


def _as_it_was(lines: Sequence[Change], look: int) -> Brew | None:
    """The brew before its first change after the look."""
    before = next((line.before for line in lines if line.noun == "brews" and line.did == "change" and line.id > look), None)
    return from_plain(Brew, before) if isinstance(before, dict) else None


def _readings_then(
    notebook: Notebook, brew: str, lines: Sequence[Change], look: int
) -> tuple[list[Reading], list[Reading], list[Reading]]:
    """Readings that stood at the look, that stand now, and of the latter those added since that correct nothing."""
    known = {line.key for line in lines if line.noun == "readings" and line.did == "add" and line.id < look}
    takings = sum(line.noun == TAKEN_BACK and line.id < look for line in lines)
    gone = {str(item.payload["reading"]) for item in notebook.kept(TAKEN_BACK, brew)[:takings]}
    ever = notebook.readings(brew, with_corrected=True)
    replaced = {item.replaces for item in ever if item.key in known and item.replaces}
    stood = [item for item in ever if item.key in known and item.key not in replaced | gone]
    stands = notebook.readings(brew)
    return stood, stands, [item for item in stands if item.key not in known and not item.replaces]


def held_to_the_look(
    notebook: Notebook, trial: str, verdict: Verdict, changed: Afterwards | None, judged_then: Callable[[Afterwards], Verdict]
) -> tuple[Verdict, dict[str, object] | None]:
    """The verdict with every claim held back that the results before the changes do not make, and what a copy must know of it.

    Parameters
    ----------
    notebook, trial
        Where it stands.
    verdict
        By the results as they stand.
    changed
        What was changed since the first look. In a copy, which has no order of writing of its own, what was kept counts.
    judged_then
        Judges the same question by the results as they were.
    """
    facts: dict[str, object] | None = None
    if changed is not None:
        try:
            before = {item.label: item.call for item in judged_then(changed).comparisons}
        except AerobeError:
            before = {}
        words = changed.words
        facts = {"words": list(words), "calls": before}
    else:
        kept = notebook.latest(KIND, trial)
        if kept is None:
            return verdict, None
        words, before = tuple(kept.payload["words"]), kept.payload["calls"]
    held = [c.label for c in verdict.comparisons if c.call != CANNOT_TELL and before.get(c.label, CANNOT_TELL) != c.call]
    said = "; ".join(words[:4]) + (f"; and {len(words) - 4} more" if len(words) > 4 else "")
    rival = Rival(
        name="change after a look",
        words=f"Changed after the results had been judged: {said}.",
        remedy="Say so wherever you show this verdict. A claim must stand with the results as they were, too.",
        blocks_claim=bool(held),
    )
    if held:
        return hold_back(verdict, rival, held), facts
    return replace(verdict, rivals=(*verdict.rivals, rival)), facts


def keep_once(notebook: Notebook, kind: str, subject: str, payload: dict[str, object], *, now: datetime) -> None:
    """Keep a result unless the newest of its kind says the same."""
    last = notebook.latest(kind, subject)
    if last is None or last.payload != payload:
        notebook.keep(kind, subject, payload, at=now)


def read_too_early(notebook: Notebook, brews: Sequence[Brew]) -> Rival | None:
    """Readings that were written in before the hour at which they say they were taken: a date or an hour is wrong."""
    wrong = [
        brew.key
        for brew in brews
        if any(
            item.entered_at is not None and brew.started_at + timedelta(hours=item.elapsed_h) > item.entered_at + TOO_EARLY
            for item in notebook.readings(brew.key)
        )
    ]
    if not wrong:
        return None
    return Rival(
        name="date",
        words=f"Brew {', '.join(wrong)} has readings that were written in before the hour that they name.",
        remedy="Correct when the brew began, or the hour of the reading.",
        blocks_claim=True,
    )
