"""Commands about what is written in the notebook: brews, readings, care, and the demo."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, own_notebook, progress, say, table
from aerobe.errors import ImportFault, NotFound
from aerobe.records import Assay, Brew, Compost, Recipe, Trial, Vessel, as_plain, from_plain
from aerobe.units import TEMPERATURE

brew = App(name="brew", help="Start, list and show brews.")
reading = App(name="reading", help="Add, correct and list readings.")
notebook = App(name="notebook", help="Check, copy and restore the notebook; see what was changed.")

THINGS: dict[str, type] = {
    "compost": Compost, "recipe": Recipe, "vessel": Vessel, "assay": Assay, "trial": Trial, "brew": Brew,
}


@brew.command(name="new")
def brew_new(
    name: str, /, *, recipe: str, vessel: str, started: str = "", temperature: str = "20 degC", trial: str = "", arm: str = "",
    where: Where = OWN,
) -> None:
    """Start a brew: the air is on.

    Parameters
    ----------
    name
        What you call it.
    recipe, vessel
        Keys of a recipe and a vessel in the notebook.
    started
        When the air was turned on, with offset (2026-05-01T08:00+02:00); now if left out.
    temperature
        Expected water temperature, with unit.
    trial, arm
        Key of the trial and its arm, if the brew belongs to one.
    """
    from aerobe.desk import moment_of, new_brew

    with where.open() as open_one:
        made = new_brew(
            open_one, name=name, recipe=recipe, vessel=vessel, now=now(), started_at=moment_of(started, now=now()),
            temperature_degc=TEMPERATURE.read(temperature), trial=trial, arm=arm,
        )
    say(made, as_json=where.json, text=f"Brew '{made.key}' began at {made.started_at:%Y-%m-%d %H:%M %Z}.")


@brew.command(name="list")
def brew_list(*, where: Where = OWN) -> None:
    """All brews, newest first."""
    from aerobe.desk import list_brews

    with where.open(create=False) as open_one:
        brews = list_brews(open_one, now=now())
    rows = [
        (item["key"], item["name"], item["recipe"], f"{item['elapsed_h']:.1f} h" + (" so far" if item["brewing"] else ""),
         item["readings"])
        for item in brews
    ]
    say(brews, as_json=where.json, text=table(("key", "name", "recipe", "brewed", "readings"), rows))


@brew.command(name="show")
def brew_show(key: str, /, *, where: Where = OWN) -> None:
    """All that the notebook holds of one brew."""
    from aerobe.desk import brew_history

    with where.open(create=False) as open_one:
        history = brew_history(open_one, key)
    plain = {name: as_plain(getattr(history, name)) for name in history.__dataclass_fields__ if name != "logs"}
    plain["logs"] = [{"channel": log.channel, "probe": log.probe, "points": len(log.values)} for log in history.logs]
    lines = [f"{history.brew.name} ({history.brew.key}): {history.recipe.name} in {history.vessel.name}"]
    lines.append(f"Harvested at {history.harvest.elapsed_h:g} h." if history.harvest else "Still brewing, as far as is noted.")
    lines += table(("reading", "h", "role", "assay", "result"), [
        (item.key, f"{item.elapsed_h:g}", item.role, item.assay, f"{item.typed_as} {item.unit}") for item in history.readings
    ])
    lines += [f"{log.channel}: {len(log.values)} points, last {log.values[-1]:.3g}" for log in history.logs if log.values]
    say(plain, as_json=where.json, text=lines)


@reading.command(name="add")
def reading_add(
    brew_key: str, signal: str, /, *, assay: str, when: str = "", role: str = "sample", dilution: str = "1", replicate: str = "1",
    notes: str = "", token: str = "", where: Where = OWN,
) -> None:
    """Keep a reading, as typed.

    Parameters
    ----------
    brew_key
        Key of the brew.
    signal
        The result: a number, "<0.1" below detection or ">500" above range.
    assay
        Key of the assay.
    when
        Hours since the air was turned on, a time with unit ("90 min"), or a clock time; now if left out.
    role
        sample, blank, "filtered blank", "killed control", spike or standard.
    dilution
        Final volume over sample volume: 10, or 1:10.
    token
        An entry token: the same token twice keeps the reading once.
    """
    from aerobe.desk import ReadingEntry, add_reading

    entry = ReadingEntry(
        brew=brew_key, assay=assay, signal=signal, when=when, role=role, dilution=dilution, replicate=replicate, notes=notes,
        token=token,
    )
    with where.open(create=False) as open_one:
        receipt = add_reading(open_one, entry, now=now())
    say(receipt, as_json=where.json, text=f"Kept as '{receipt.key}'." if receipt.was_new else f"'{receipt.key}' was kept before.")


@reading.command(name="correct")
def reading_correct(key: str, signal: str, /, *, why: str, when: str = "", where: Where = OWN) -> None:
    """Correct a reading; the old one stays in the notebook.

    Parameters
    ----------
    key
        Key of the reading that is wrong.
    signal
        The right result.
    why
        What went wrong.
    when
        The right time, if that was wrong too.
    """
    from aerobe.desk import ReadingEntry, correct_reading

    with where.open(create=False) as open_one:
        old = open_one.reading(key)
        entry = ReadingEntry(
            brew=old.brew, assay=old.assay, signal=signal, when=when, role=old.role, dilution=repr(old.dilution),
            replicate=str(old.replicate), sample=old.sample, kit_lot=old.kit_lot,
        )
        receipt = correct_reading(open_one, key, entry, now=now(), why=why)
    say(receipt, as_json=where.json, text=f"'{receipt.key}' now stands for '{key}'; both are kept.")


@reading.command(name="list")
def reading_list(brew_key: str, /, *, all: bool = False, where: Where = OWN) -> None:
    """Readings of a brew.

    Parameters
    ----------
    brew_key
        Key of the brew.
    all
        Also those that were corrected.
    """
    with where.open(create=False) as open_one:
        found = open_one.readings(brew_key, with_corrected=all)
    rows = [
        (item.key, f"{item.elapsed_h:g}", item.role, item.assay, f"{item.typed_as} {item.unit}", f"{item.dilution:g}",
         item.replaces)
        for item in found
    ]
    say(found, as_json=where.json, text=table(("key", "h", "role", "assay", "result", "dilution", "corrects"), rows))


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
    except (OSError, ValueError) as fault:
        raise ImportFault(f"{file} is no JSON file: {fault}.", "Give a file with one JSON object.") from None
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
    from aerobe.desk import notebook_summary

    with where.open(create=False) as open_one:
        if not noun:
            counts = notebook_summary(open_one)
            say(counts, as_json=where.json, text=table(("noun", "how many"), counts.items()))
        elif not key:
            found: list[Any] = open_one.find(_class_of(noun))
            say(found, as_json=where.json, text=table(("key", "name"), [(item.key, item.name) for item in found]))
        else:
            say(open_one.get(_class_of(noun), key), as_json=True)


@notebook.command(name="check")
def notebook_check(*, where: Where = OWN) -> int:
    """Read every row again and say whether all is whole. Exit code 4 if something is wrong."""
    from aerobe.desk import check_notebook

    with where.open(create=False) as open_one, progress("reading every row"):
        report = check_notebook(open_one)
    lines = ["The notebook is whole.", f"Content {report['fingerprint']}"] if report["whole"] else report["faults"]
    say(report, as_json=where.json, text=lines)
    return 0 if report["whole"] else 4


@notebook.command(name="copy")
def notebook_copy(to: Path | None = None, /, *, where: Where = OWN) -> None:
    """Write a dated copy beside the notebook, also while it is in use.

    Parameters
    ----------
    to
        Another place for the copy.
    """
    from aerobe.desk import back_up_notebook

    with where.open(create=False) as open_one, progress("copying"):
        path = back_up_notebook(open_one, now=now(), to=to)
    say({"copy": str(path)}, as_json=where.json, text=f"Copied to {path}")


@notebook.command(name="copies")
def notebook_copies(*, where: Where = OWN) -> None:
    """The dated copies beside the notebook, oldest first."""
    from aerobe.desk import copies_of_notebook

    with where.open(create=False) as open_one:
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
    from aerobe.desk import restore_notebook

    with where.open() as open_one, progress("restoring"):
        before = restore_notebook(open_one, copy, now=now())
    say({"restored": str(copy), "before": str(before)}, as_json=where.json, text=f"Restored. What was there is in {before}")


@notebook.command(name="changes")
def notebook_changes(*, brew_key: str = "", newest: int = 30, where: Where = OWN) -> None:
    """Who changed what, oldest first.

    Parameters
    ----------
    brew_key
        Only about this brew.
    newest
        How many of the last to show.
    """
    with where.open(create=False) as open_one:
        found = open_one.audit(brew=brew_key or None, newest=newest)
    rows = [(f"{item.at:%Y-%m-%d %H:%M}", item.who or "-", item.did, item.noun, item.key, item.why) for item in found]
    say(found, as_json=where.json, text=table(("when", "who", "did", "what", "key", "why"), rows))


def demo(path: Path | None = None, /, *, seed: int = 7, json: bool = False) -> None:
    """Make an invented notebook to play with: a trial of several brews, one of them still brewing.

    Parameters
    ----------
    path
        Where to put it.
    seed
        Another seed invents other numbers.
    json
        Answer as JSON, for programs.
    """
    from aerobe.desk import list_brews, make_demo, open_notebook

    # A demo of another day would have brewed for days by now: each day gets its own, and none is overwritten.
    target = path or own_notebook().with_name(f"demo-{now():%Y-%m-%d}.notebook")
    with open_notebook(target, at=now()) as open_one, progress("inventing brews"):
        if open_one.setting("demo"):
            made = next((brew["key"] for brew in list_brews(open_one, now=now()) if brew["brewing"]), "none")
        else:
            made = make_demo(open_one, now=now(), seed=seed)
    say({"notebook": str(target), "still_brewing": made}, as_json=json,
        text=[f"An invented notebook is in {target}; '{made}' is still brewing.", f"See it: aerobe serve --notebook {target}"])


def _class_of(noun: str) -> type:
    if noun not in THINGS:
        raise NotFound(f"'{noun}' is nothing the notebook keeps by this name.", f"Use one of: {', '.join(THINGS)}.")
    return THINGS[noun]
