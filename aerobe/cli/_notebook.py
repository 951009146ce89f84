"""Commands about the notebook itself: what it holds, its care, its changes, and an invented one."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from cyclopts import App

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, listed, now, own_notebook, progress, say, table, then
from aerobe.errors import ImportFault, NotFound
from aerobe.records import Assay, Brew, Compost, Recipe, Trial, Vessel, from_plain

notebook = App(name="notebook", help="Check, copy and restore the notebook; see what was changed.")

SIMPLER = "Give a file with one JSON object; or write it in without a file: aerobe recipe add, vessel add, compost add, test add."
THINGS: dict[str, type] = {
    "compost": Compost,
    "recipe": Recipe,
    "vessel": Vessel,
    "assay": Assay,
    "trial": Trial,
    "brew": Brew,
}


@notebook.command(name="add")
def notebook_add(noun: str, file: Path, /, *, change: bool = False, where: Where = OWN) -> None:
    """Add a compost, recipe, vessel, assay, trial or brew from a JSON file.

    Parameters
    ----------
    noun
        compost, recipe, vessel, assay, trial or brew.
    file
        A JSON object with the record's fields; `aerobe notebook show` prints one to start from.
    change
        Replace the record with the same key; the audit trail keeps the old one.
    """
    import json

    try:
        record: Any = from_plain(_class_of(noun), json.loads(file.read_text(encoding="utf-8")))
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
    except json.JSONDecodeError as fault:
        where_wrong = f"line {fault.lineno}, column {fault.colno}"
        raise ImportFault(f"{file} is no JSON file: it cannot be read on from {where_wrong}.", SIMPLER) from None
    except (ValueError, RecursionError):
        raise ImportFault(f"{file} is no JSON file.", SIMPLER) from None
    with where.open() as open_one:
        receipt = open_one.change(record, at=now()) if change else open_one.add(record, at=now())
    say(receipt, as_json=where.json, text=f"{noun} '{receipt.key}' is kept.")


@notebook.command(name="show")
def notebook_show(noun: str = "", key: str = "", /, *, where: Where = OWN) -> None:
    """What the notebook holds: counts, the keys of one noun, or one record as JSON.

    Parameters
    ----------
    noun
        compost, recipe, vessel, assay, trial or brew; left out: how many there are of each.
    key
        Key of one record.
    """
    from aerobe.usecases.notebook import notebook_summary
    from aerobe.usecases.trials import shown

    with where.open(create=False) as open_one:
        if not noun:
            counts = notebook_summary(open_one)
            say(
                counts,
                as_json=where.json,
                text=[
                    *table(("noun", "how many"), counts.items()),
                    *then("notebook show NOUN"),
                ],
            )
        elif not key:
            held: list[Any] = open_one.find(_class_of(noun))
            found = [shown(open_one, record) for record in held]
            say(found, as_json=where.json, text=table(("key", "name"), [(item.key, item.name) for item in found]))
        else:
            say(shown(open_one, open_one.get(_class_of(noun), key)), as_json=True)


@notebook.command(name="check")
def notebook_check(*, where: Where = OWN) -> int:
    """Read every row again and say whether all is whole. Exit code 4 if something is wrong."""
    from aerobe.usecases.notebook import check_notebook

    with where.open(create=False) as open_one, progress("reading every row"):
        report = check_notebook(open_one)
    lines = ["The notebook is whole.", f"Fingerprint {report['fingerprint']}"] if report["whole"] else report["faults"]
    say(report, as_json=where.json, text=lines)
    return 0 if report["whole"] else NOT_SETTLED


@notebook.command(name="copy")
def notebook_copy(to: Path | None = None, /, *, where: Where = OWN) -> None:
    """Write a dated copy beside the notebook, also while it is in use.

    Parameters
    ----------
    to
        Another place for the copy.
    """
    from aerobe.usecases.notebook import back_up_notebook

    with where.open(create=False) as open_one, progress("copying"):
        path = back_up_notebook(open_one, now=now(), to=to)
    say({"copy": str(path)}, as_json=where.json, text=f"Copied to {path}")


@notebook.command(name="copies")
def notebook_copies(*, also: Path | None = None, where: Where = OWN) -> None:
    """The dated copies beside the notebook, oldest first.

    Parameters
    ----------
    also
        A folder, best on another disk, to which the copy of each day goes as well from now on.
    """
    from aerobe.usecases.notebook import copies_of_notebook, copy_also_to

    with where.open(create=False) as open_one:
        if also is not None:
            copy_also_to(open_one, also, now=now())
        paths = [str(path) for path in copies_of_notebook(open_one)]
    say(paths, as_json=where.json, text=paths or "(none)")


@notebook.command(name="restore")
def notebook_restore(copy: Path, /, *, where: Where = OWN) -> None:
    """Put a copy in the notebook's place; what was there is copied first.

    Parameters
    ----------
    copy
        A copy as listed by `aerobe notebook copies`.
    """
    from aerobe.usecases.notebook import restore_notebook

    with where.open() as open_one, progress("restoring"):
        before = restore_notebook(open_one, copy, now=now())
    say({"restored": str(copy), "before": str(before)}, as_json=where.json, text=f"Restored. What was there is in {before}")


@notebook.command(name="rescue")
def notebook_rescue(damaged: Path | None = None, target: Path | None = None, /, *, json: JSON_ONLY = False) -> int:
    """Save what is whole of a damaged notebook. The damaged file is kept as it is. Exit code 4 if rows are lost.

    Parameters
    ----------
    damaged
        The notebook that does not open, or that `aerobe notebook check` finds fault with; your own if it is left out.
    target
        A new file for what is whole. Without it that takes the notebook's place, and the damaged file is kept beside it.
    """
    from aerobe.usecases.notebook import go_on_with_whole_part, rescue_notebook

    damaged = damaged or Path(os.environ.get("AEROBE_NOTEBOOK", "") or own_notebook())
    with progress("reading what can be read"):
        if target is not None:
            found, last = rescue_notebook(damaged, target), f"Photos, devices and settings lie in {damaged.name}.app: give that"
            last += " folder the new notebook's name."
        else:
            found, aside = go_on_with_whole_part(damaged, now=now())
            last = f"The notebook is whole again and can be written. The damaged file is kept as {aside}"
    counts = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in found.saved.items())
    lines = [f"Saved to {target or damaged}: {counts}.", *listed(found.lost)]
    lines += [f"Rows that did not fit are kept as they stood in {found.left_over}."] if found.left_over else []
    lines += [last]
    told = {
        "saved": [{"table": name, "rows": count} for name, count in found.saved.items()],
        "lost": found.lost,
        "left_over": str(found.left_over or ""),
    }
    say(told, as_json=json, text=lines)
    return NOT_SETTLED if found.lost else 0


@notebook.command(name="changes")
def notebook_changes(*, brew: str = "", newest: int = 30, where: Where = OWN) -> None:
    """Who changed what, oldest first.

    Parameters
    ----------
    brew
        Key of a brew: only what is about it.
    newest
        How many of the last to show.
    """
    from aerobe.usecases.notebook import on_clock

    with where.open(create=False) as open_one:
        found = open_one.audit(brew=brew or None, newest=newest)
    moment = now()
    rows = [
        (
            f"{on_clock(item.at, moment):%Y-%m-%d %H:%M}",
            item.who or "-",
            item.did,
            item.noun.replace("_", " "),
            item.key,
            item.why,
        )
        for item in found
    ]
    say(found, as_json=where.json, text=table(("when", "who", "did", "what", "key", "why"), rows))


def demo(path: Path | None = None, /, *, seed: int = 7, json: JSON_ONLY = False) -> None:
    """Make an invented notebook to play with: a trial of several brews, one of them still brewing.

    Parameters
    ----------
    path
        Where to put it.
    seed
        Another seed invents other numbers.
    """
    from aerobe.usecases.notebook import list_brews, make_demo, open_notebook

    # A demo of another day would have brewed for days by now: each day gets its own, and none is overwritten.
    target = path or own_notebook().with_name(f"demo-{now():%Y-%m-%d}.notebook")
    with open_notebook(target, at=now()) as open_one, progress("inventing brews"):
        if open_one.setting("demo"):
            made = next((brew["key"] for brew in list_brews(open_one, now=now()) if brew["brewing"]), "none")
        else:
            made = make_demo(open_one, now=now(), seed=seed)
    say(
        {"notebook": str(target), "still_brewing": made},
        as_json=json,
        text=[f"An invented notebook is in {target}; '{made}' is still brewing.", *then(f"serve --notebook {target}")],
    )


def _class_of(noun: str) -> type:
    if noun not in THINGS:
        raise NotFound(f"'{noun}' is nothing the notebook keeps by this name.", f"Use one of: {', '.join(THINGS)}.")
    return THINGS[noun]


def doctor(*, where: Where = OWN) -> int:
    """Look over the notebook and all around it: clock, disk, permissions, store, copies, certificate, broker, versions.

    Nothing is changed. The exit code is 4 if something needs to be done.
    """
    from aerobe.usecases.notebook import look_over

    with where.open(create=False) as open_one:
        found = look_over(open_one, now=now())
    lines = []
    for item in found:
        lines.append(f"{'ok  ' if item.fine else 'LOOK'} {item.what}: {item.says}")
        if item.remedy:
            lines.append(f"     {item.remedy}")
    say(found, as_json=where.json, text=lines)
    return 0 if all(item.fine for item in found) else NOT_SETTLED
