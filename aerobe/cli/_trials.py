"""Commands about trials: what was planned, what has begun, and their papers; plans and verdicts have files of their own."""

from __future__ import annotations

from pathlib import Path

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, say, table, then
from aerobe.cli._pictures import save_picture
from aerobe.cli._trial_keys import fingerprint, open_codes, open_sealed, seal, stamped_at
from aerobe.cli._trial_plans import plan, power, times
from aerobe.cli._trial_protocols import join, protocol
from aerobe.cli._verdicts import compare, judge_file, next_one, verdict
from aerobe.usecases.notebook import require_new, write_new

trial = App(name="trial", help="Plan a trial, print its run sheet, judge it, and find out what to ask next.")

for taken_in in (plan, power, times, verdict, compare, seal, fingerprint, stamped_at, protocol, join):
    trial.command(taken_in)
trial.command(next_one, name="next")
trial.command(judge_file, name="judge")
trial.command(open_codes, name="open-codes")
trial.command(open_sealed, name="open-key")


@trial.command(name="list")
def trial_list(*, where: Where = OWN) -> None:
    """All trials."""
    from aerobe.usecases.trials import trial_list as listed

    with where.open(create=False) as notebook:
        found = listed(notebook)
    rows = [(item["key"], item["question"], item["outcome"], item["arms"], item["brews"], item["name"]) for item in found]
    say(found, as_json=where.json, text=table(("key", "question", "outcome", "arms", "brews", "name"), rows))


@trial.command(name="show")
def show(key: str, /, *, picture: Path | None = None, where: Where = OWN) -> None:
    """A trial with its brews, started and waiting.

    Parameters
    ----------
    key
        Key of the trial.
    picture
        Also draw the readings of all its brews over time, to this file (.svg or .png).
    """
    from aerobe.usecases.notebook import on_clock
    from aerobe.usecases.trials import course_picture, trial_shown

    require_new([picture])
    with where.open(create=False) as notebook:
        view = trial_shown(notebook, key)
        drawn = [save_picture(course_picture(notebook, key), picture)] if picture is not None else []
    rows = [(brew.blind_code or "-", brew.key, brew.vessel, "started") for brew in view.brews]
    rows += [
        (
            item.blind_code,
            item.brew,
            item.vessel,
            f"waiting, {on_clock(item.starts_at, now()):%a %d %b %H:%M}" if item.starts_at else "waiting",
        )
        for item in view.waiting
    ]
    text = [
        f"{view.trial.name}: {view.trial.question}, judged by {view.trial.outcome}.",
        f"Brews with results: {view.with_results} of {len(view.brews) + len(view.waiting)}.",
        "",
    ]
    text += [*table(("code", "brew", "vessel", "state"), rows), *drawn]
    if view.waiting:
        text += then(f"trial begin {key} CODE", f"trial sheet {key}")
    say(view, as_json=where.json, text=text)


@trial.command(name="begin")
def begin(key: str, code: str, /, *, where: Where = OWN) -> None:
    """The air is on in a planned brew.

    Parameters
    ----------
    key
        Key of the trial.
    code
        The brew's blind code on the run sheet, such as XD6.
    """
    from aerobe.usecases.trials import start_planned_brew

    with where.open() as notebook:
        receipt = start_planned_brew(notebook, key, code, now=now())
    say(
        receipt,
        as_json=where.json,
        text=[
            f"Brew '{receipt.key}' began.",
            *then(f"reading add {receipt.key} RESULT --assay KEY", f"call {receipt.key}"),
        ],
    )


@trial.command(name="sheet")
def sheet(key: str, to: Path | None = None, /, *, with_arms: bool = False, where: Where = OWN) -> None:
    """Write the run sheet as a page to print, one page a brew.

    Parameters
    ----------
    key
        Key of the trial.
    to
        File to write; <key>-run-sheet.html if left out. A file that is there is never written over.
    with_arms
        Add the key of codes to arms, for the person who mixes the recipes; to <key>-with-key.html if no file is named.
    """
    from aerobe.usecases.trials import print_run_sheet

    path = to or Path(f"{key}-with-key.html" if with_arms else f"{key}-run-sheet.html")
    require_new([path])  # the key must not go over the blind sheet, nor be noted as shown where it was not written
    with where.open(create=False) as notebook:
        page = print_run_sheet(notebook, key, with_arms=with_arms, now=now())
    write_new({path: page})
    say({"written": str(path)}, as_json=where.json, text=f"Written: {path}")


@trial.command(name="calendar")
def calendar(key: str, to: Path | None = None, /, *, where: Where = OWN) -> None:
    """Write starts and samplings as a calendar file (.ics).

    Parameters
    ----------
    key
        Key of the trial.
    to
        File to write; <key>.ics if left out.
    """
    from aerobe.usecases.trials import trial_calendar

    with where.open(create=False) as notebook:
        content = trial_calendar(notebook, key, now=now())
    path = to or Path(f"{key}.ics")
    write_new({path: content})
    say({"written": str(path)}, as_json=where.json, text=f"Written: {path}")
