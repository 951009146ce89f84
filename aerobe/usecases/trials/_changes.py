"""Every change of a plan and of what belongs to it, in words, by the notebook's own order of writing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from aerobe.errors import AerobeError
from aerobe.notebook import Change, Notebook
from aerobe.records import Arm, Brew, Recipe, RunSheet, Trial, as_plain, from_plain

_NAMES = {
    "margin_ratio": "the difference worth having",
    "outcome": "what it is judged by",
    "question": "the question",
    "arms": "the arms",
    "planned_at": "the time of planning",
    "design": "the design",
    "name": "the name",
}
_FIELDS = {"compost_g_per_l": "compost [g/L]", "foods": "foods [g/L]", "guessed": "what was guessed"}
Plain = Mapping[str, Any]


def plan_changes(trial: Trial, lines: Sequence[Change], first: int) -> tuple[str, ...]:
    """Changes of the trial itself; `first` is where the first result stands in the order of writing, 0 without any."""
    return tuple(
        f"The plan was changed {_when(line, first)}: {name} was {_short(old.get(field))} and became {_short(new.get(field))}."
        for line, old, new in _steps(trial, lines, "trials")
        for field, name in _NAMES.items()
        if old.get(field) != new.get(field)
    )


def sheet_changes(sheet: RunSheet | None, lines: Sequence[Change], first: int) -> tuple[str, ...]:
    """Changes of the run sheet: how many brews, at which hours they are sampled, and what was drawn by lot."""
    if sheet is None:
        return ()
    written = next((line for line in lines if line.noun == "run_sheets" and line.did == "add"), None)
    late = written is not None and first and written.id > first
    said = [f"The run sheet was written {_when(written, first)}."] if written is not None and late else []
    for line, old, new in _steps(sheet, lines, "run_sheets"):
        told = [
            f"{name} were {before} and became {after}"
            for name, before, after in (
                ("the planned brews", _brews_of(old), _brews_of(new)),
                ("the hours of sampling", _hours_of(old), _hours_of(new)),
            )
            if before != after
        ]
        if not told and _drawn(old) != _drawn(new):
            told = ["what was drawn by lot was changed"]
        said += [f"The run sheet was changed {_when(line, first)}: {words}." for words in told]
    return tuple(said)


def recipe_changes(notebook: Notebook, trial: Trial, first: int) -> tuple[str, ...]:
    """Changes of the recipes of the arms since the first result: what was brewed is no longer what stands there."""
    if not first:
        return ()
    known = {recipe.key: recipe for recipe in notebook.find(Recipe)}
    return tuple(
        f"Recipe {key} was changed {_when(line, first)}: {_FIELDS.get(field, field)} was {_short(old.get(field))} and became "
        f"{_short(new.get(field))}."
        for key in dict.fromkeys(arm.recipe for arm in trial.arms)
        if key in known
        for line, old, new in _steps(known[key], notebook.audit(key=key), "recipes")
        if line.id > first
        for field in sorted({*old, *new} - {"notes"})
        if old.get(field) != new.get(field)
    )


def brew_changes(notebook: Notebook, trial: str, by_brew: Mapping[str, Sequence[Change]]) -> tuple[str, ...]:
    """Brews that changed arm or recipe after their first result, came into the trial after it, or left the trial at all."""
    said = [words for brew in notebook.find(Brew, of=trial) for words in _moves(trial, brew, by_brew[brew.key])]
    left = dict.fromkeys(
        line.key
        for line in notebook.audit(noun="brews")
        if line.key not in by_brew and isinstance(line.before, dict) and line.before.get("trial") == trial
    )
    for key in left:
        said += _moves(trial, notebook.get(Brew, key), notebook.audit(brew=key))
    return tuple(said)


def arms_in_words(arms: Sequence[Arm]) -> str:
    """All arms in one line, with everything that tells them from other arms."""
    return _short([as_plain(arm) for arm in arms])


def trials_over_time(brew: Brew, lines: Sequence[Change]) -> Iterator[tuple[Change, Brew, Brew]]:
    """Each change of a brew: its line, what it was and what it became."""
    edits = [line for line in lines if line.noun == "brews" and line.did == "change" and isinstance(line.before, dict)]
    try:
        stood = [*(from_plain(Brew, line.before) for line in edits), brew]
    except AerobeError:  # a record of an older release that can no longer be read
        return
    for line, (was, becomes) in zip(edits, pairwise(stood), strict=True):
        yield line, was, becomes


def _moves(trial: str, brew: Brew, lines: Sequence[Change]) -> Iterator[str]:
    first = min((line.id for line in lines if line.noun == "readings"), default=0)
    for line, was, becomes in trials_over_time(brew, lines):
        when = _when(line, first).replace("the first result", "its first result")
        if was.trial == trial and becomes.trial != trial:
            yield f"Brew {brew.key}, of {was.arm or was.recipe}, was taken out of the trial {when}."
        elif not first or line.id < first:
            continue
        elif was.trial != trial and becomes.trial == trial:
            yield f"Brew {brew.key} was put into the trial {when}."
        elif becomes.trial == trial and (was.arm, was.recipe) != (becomes.arm, becomes.recipe):
            yield f"Brew {brew.key} was of {_arm_of(was)} and became one of {_arm_of(becomes)} {when}."


def _arm_of(brew: Brew) -> str:
    return brew.arm if brew.arm == brew.recipe or not brew.recipe else f"{brew.arm or 'no arm'} ({brew.recipe})"


def _steps(stands: object, lines: Sequence[Change], noun: str) -> Iterator[tuple[Change, Plain, Plain]]:
    """Each change of a record: its line, the fields before it and after it."""
    edits = [line for line in lines if line.noun == noun and line.did == "change" and isinstance(line.before, dict)]
    versions: list[Any] = [*(line.before for line in edits), as_plain(stands)]
    yield from ((line, old, new) for line, (old, new) in zip(edits, pairwise(versions), strict=True))


def _when(line: Change, first: int) -> str:
    when = "after the first result" if first and line.id > first else "before the first result"
    return f"{when}, on {line.at:%Y-%m-%d %H:%M %Z}"


def _brews_of(sheet: Plain) -> str:
    arms: dict[str, int] = {}
    for line in sheet.get("brews", ()):
        arms[line["arm"]] = arms.get(line["arm"], 0) + 1
    return f"{sum(arms.values())} ({', '.join(f'{count} of {arm}' for arm, count in arms.items())})"


def _hours_of(sheet: Plain) -> str:
    hours = sorted({sample["elapsed_h"] for line in sheet.get("brews", ()) for sample in line.get("samples", ())})
    return ", ".join(f"{hour:g} h" for hour in hours) or "none"


def _drawn(sheet: Plain) -> list[tuple[str, ...]]:
    """What the lot decided: arm, block and vessel of each brew."""
    return sorted((line["brew"], line["arm"], line["block"], line["vessel"]) for line in sheet.get("brews", ()))


def _short(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_item(item) if isinstance(item, dict) else str(item) for item in value) or "none"
    if isinstance(value, dict):
        return ", ".join(f"{name} {_short(part)}" for name, part in value.items()) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value) if value not in (None, "") else "none"


def _item(item: Plain) -> str:
    """An arm or a dose of a list in a few words: everything that tells it from what it was."""
    if "key" not in item:
        return " ".join(_short(part) for part in item.values() if part not in (None, "", {}, []))
    told = [str(item["key"])]
    told += [f"recipe {item['recipe']}"] if item.get("recipe") not in (None, "", item["key"]) else []
    told += ["the standard"] if item.get("is_standard") else []
    told += [f"dose {_short(item['dose'])}"] if item.get("dose") is not None else []
    told += [f"at {_short(item['levels'])}"] if item.get("levels") else []
    return told[0] if len(told) == 1 else f"{told[0]} ({', '.join(told[1:])})"
