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
from aerobe.usecases.trials._blinding import OPENED
from aerobe.verdicts import CANNOT_TELL, Rival, Verdict, hold_back

KIND = "changed after a look"  # of kept results, under the trial's key: it goes along with every copy
JUDGED = "the results had been judged"
TOO_EARLY = timedelta(hours=2)  # clocks of two devices may differ by less (our choice, no source)
Readings = Mapping[str, Sequence[Reading]]  # by brew


@dataclass(frozen=True, slots=True, kw_only=True)
class Afterwards:
    """The results as a look first found them, and what was changed since."""

    words: tuple[str, ...]
    brews: tuple[Brew, ...]  # as they were, those begun since included
    readings: Readings  # as they were, with those of brews that had none and controls that were added
    since: str  # what had been seen before the changes, in words


def changed_afterwards(
    notebook: Notebook, subject: str, brews: Sequence[Brew], belongs: Callable[[Brew], bool], pair: str = ""
) -> Afterwards | None:
    """What was changed of what a look had found, at questions or with the codes open; None if nothing was.

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
    looks = _looks(notebook, subject, pair)
    if not looks:
        return None
    words: list[str] = []
    were: list[Brew] = []
    then: dict[str, Sequence[Reading]] = {}
    again: list[str] = []
    seen = 0
    now = {brew.key: brew for brew in brews}
    for key in dict.fromkeys([*now, *asked_of(notebook, subject, pair)]):
        lines = notebook.audit(brew=key)
        found = _readings_seen(notebook, key, lines, looks)
        was = _as_it_was(lines, found.look) or now.get(key)
        if was is None or not belongs(was):
            continue
        were.append(was)
        if key not in now:
            words.append(f"brew {key} was taken out of {'the two recipes' if pair else 'the trial'}")
        elif _stood(was) != _stood(now[key]):
            words.append(f"brew {key} was of {_place(was)} and became one of {_place(now[key])}")
        words += [f"brew {key}: {item.role} of {item.elapsed_h:g} h was {item.typed_as or item.signal}" for item in found.lost]
        seen += found.sampled
        again += [key] if found.fresh else []
        then[key] = found.then
    if again and len(again) < seen:
        words.append(f"{', '.join(again)} tested again and others not")
    elif not words:
        return None
    opened_first = any(line.id == looks[0] and line.noun == OPENED for line in notebook.audit(key=subject))
    return Afterwards(
        words=tuple(words), brews=tuple(were), readings=then, since="the codes were opened" if opened_first else JUDGED
    )


def _looks(notebook: Notebook, subject: str, pair: str) -> list[int]:
    """Where in the order of writing the results were looked at: questions asked in this notebook, and codes opened."""
    found = notebook.audit(key=subject)
    lines = [line.id for line in found if line.noun == ASKED]
    asked = notebook.kept(ASKED, subject)
    of_pair = [i for i, item in enumerate(asked[-len(lines) :] if lines else ()) if item.payload["question"].startswith(pair)]
    opening = [line.id for line in found if line.noun == OPENED]
    return sorted([*(lines[i] for i in of_pair), *opening])


def _stood(brew: Brew) -> tuple[str, str, str]:
    return brew.arm or brew.recipe, brew.block, brew.vessel


def _place(brew: Brew) -> str:
    return ", ".join(part for part in (brew.arm or brew.recipe, brew.vessel, brew.block) if part)


def _as_it_was(lines: Sequence[Change], look: int) -> Brew | None:
    """The brew before its first change after the look."""
    before = next((line.before for line in lines if line.noun == "brews" and line.did == "change" and line.id > look), None)
    return from_plain(Brew, before) if isinstance(before, dict) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """The readings of one brew as they were first seen."""

    look: int  # the first look at a result of this brew; the first at all if none was seen
    then: tuple[Reading, ...]  # as first seen, with those that nobody has seen yet as they stand
    lost: tuple[Reading, ...]  # first seen so, and corrected or taken back since
    fresh: bool  # sampled again after a sample of it had been seen
    sampled: bool  # a sample of it has been seen


def _readings_seen(notebook: Notebook, brew: str, lines: Sequence[Change], looks: Sequence[int]) -> _Seen:
    """Each reading in the version in which a look first found it: what is put right before anybody looks is no change."""
    ever = {item.key: item for item in notebook.readings(brew, with_corrected=True)}
    born = {line.key: line.id for line in lines if line.noun == "readings"}
    gone = {item.replaces: born.get(item.key, 0) for item in ever.values() if item.replaces}
    takings = [line.id for line in lines if line.noun == TAKEN_BACK]
    for place, taking in zip(takings, notebook.kept(TAKEN_BACK, brew), strict=False):
        gone.setdefault(str(taking.payload["reading"]), place)
    chains: dict[str, list[tuple[int, Reading]]] = {}  # by first version: each look at a version, in order
    for item in ever.values():
        sights = [look for look in looks if born.get(item.key, 0) < look < gone.get(item.key, look + 1)]
        chains.setdefault(_first_version(item, ever), []).extend((look, item) for look in sights)
    stands = notebook.readings(brew)
    first_seen = {root: min(found, key=lambda pair: pair[0]) for root, found in chains.items() if found}
    sample_looks = [look for look, item in first_seen.values() if item.role == "sample"]
    sampled_at = min(sample_looks, default=None)
    late = {root for root in chains if sampled_at is not None and ever[root].role == "sample" and born.get(root, 0) > sampled_at}
    kept = {item.key for item in stands}
    unseen = [item for item in stands if (root := _first_version(item, ever)) not in first_seen and root not in late]
    seen = [item for root, (_, item) in first_seen.items() if root not in late]
    return _Seen(
        look=looks[0] if sampled_at is None else sampled_at,
        then=(*seen, *unseen),
        lost=tuple(item for _, item in first_seen.values() if item.key not in kept),
        fresh=any(_first_version(item, ever) in late for item in stands),
        sampled=sampled_at is not None,
    )


def _first_version(item: Reading, ever: Mapping[str, Reading]) -> str:
    """Key of what a reading corrects in the end."""
    while item.replaces in ever:
        item = ever[item.replaces]
    return item.key


def held_to_the_look(
    notebook: Notebook,
    trial: str,
    verdict: Verdict,
    changed: Afterwards | None,
    judged_then: Callable[[Afterwards], Verdict],
    *,
    question: str = "planned",
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
    question
        That is asked, in one line.
    """
    facts: dict[str, object] | None = None
    if changed is not None:
        try:
            before = {item.label: item.call for item in judged_then(changed).comparisons}
        except AerobeError:
            before = {}
        words, since = changed.words, changed.since
        facts = {"words": list(words), "calls": before, "since": since, "question": question}
    else:
        kept = notebook.kept(KIND, trial)
        if not kept:
            return verdict, None
        # Of a question that nobody judged by the results as they were, no claim is known to stand.
        said_of = next((item for item in reversed(kept) if item.payload.get("question", "planned") == question), None)
        words, since = tuple(kept[-1].payload["words"]), str(kept[-1].payload.get("since", JUDGED))
        before = said_of.payload["calls"] if said_of is not None else {}
    held = [c.label for c in verdict.comparisons if c.call != CANNOT_TELL and before.get(c.label, CANNOT_TELL) != c.call]
    said = "; ".join(words[:4]) + (f"; and {len(words) - 4} more" if len(words) > 4 else "")
    rival = Rival(
        name="change after a look",
        words=f"Changed after {since}: {said}.",
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
