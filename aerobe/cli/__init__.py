"""The command `aerobe`: commands, text output and exit codes. No arithmetic, no SQL.

A group of commands lives in `aerobe/cli/_<subject>.py` as `app = cyclopts.App(name="<subject>", help=...)` and is
named here by one line; it is imported when it is called, so that help comes at once.

Exit codes: 0 done; 1 a bug of ours; 2 the command line was not understood; 3 a fault that you can put right
(the message says how); 4 the answer is no, or not settled yet (only where a command says so); 130 interrupted.
"""

from __future__ import annotations

import io
import os
import sys
from typing import TYPE_CHECKING

import aerobe

if TYPE_CHECKING:
    import cyclopts

DONE, BUG, MISUNDERSTOOD, FAULT, NOT_SETTLED, INTERRUPTED = 0, 1, 2, 3, 4, 130
LARGEST = 1e15

# command -> (where it lives, what it does). Keep the lines short: they are the help.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("aerobe.cli._notebook:demo", "Make an invented notebook to play with."),
    "start": ("aerobe.cli._start:start", "Start a brew from four answers; what is missing is asked at a terminal."),
    "vessel": ("aerobe.cli._shelf:vessel", "Vessels and their air: write one in, list them."),
    "compost": ("aerobe.cli._shelf:compost", "Composts: write one in, list them."),
    "recipe": ("aerobe.cli._shelf:recipe", "Recipes: write one in, list them."),
    "test": ("aerobe.cli._shelf:test", "Tests: write one in, list them."),
    "brew": ("aerobe.cli._brews:brew", "Start, list and show brews."),
    "reading": ("aerobe.cli._readings:reading", "Add, correct and list readings."),
    "call": ("aerobe.cli._call:app", "When to test next and when to harvest a brew, and what each choice loses."),
    "assay": ("aerobe.cli._assay:app", "Is my test any good? Certificates, counts, ratios, how many tests."),
    "import": ("aerobe.cli._exchange:import_file", "Take in a table of readings, a logger file or a data package."),
    "export": ("aerobe.cli._exchange:export", "Write the notebook, or one trial, as an open data package."),
    "trial": ("aerobe.cli._trials:trial", "Plan a trial, print its run sheet, judge it, find out what to ask next."),
    "notebook": ("aerobe.cli._notebook:notebook", "Check, copy and restore the notebook; see what was changed."),
    "practise": ("aerobe.cli._practise:app", "A simulated brew to play: learn when to test and when to harvest; no record."),
    "oxygen": ("aerobe.cli._oxygen:app", "How much food the air carries; transfer, uptake, sizing, probes."),
    "safety": ("aerobe.cli._safety:app", "Gates, compost rules, tests, water, cautions; may this tea go there?"),
    "evidence": ("aerobe.cli._evidence:app", "What many people found: take in, list, weigh, pool every brew."),
    "report": ("aerobe.cli._reports:app", "Reports with their data: write, check anew, publish a folder of pages."),
    "settings": ("aerobe.cli._settings:settings", "Units, money, dates and decimal sign of everything that is shown."),
    "doctor": ("aerobe.cli._notebook:doctor", "Is all well? Clock, disk, permissions, store, copies, certificate, broker."),
    "serve": ("aerobe.cli._serve:serve", "Serve the notebook page to this machine or the local network."),
}


def build() -> cyclopts.App:
    """The whole command, with every group named and none imported."""
    import cyclopts

    app = cyclopts.App(
        name="aerobe",
        help=(aerobe.__doc__ or "").split("\n")[0],
        version=aerobe.__version__,
        help_format="plaintext",  # reading help as Markdown would load a parser before the first word is shown
        # A switch that is off has no second name; a default is shown where it says something.
        default_parameter=cyclopts.Parameter(negative=(), show_default=_default_in_words, validator=_a_number_of_this_world),
    )
    for name, (where, does) in COMMANDS.items():
        app.command(where, name=name, help=does)
    app.register_install_completion_command(name="completion")
    return app


def _default_in_words(value: object) -> str | None:
    return None if value in ("", False, None, ()) else "yes" if value is True else str(value)


def _a_number_of_this_world(_: object, value: object) -> None:
    """No command means NaN, infinity or a count beyond all counting; what the person meant is for the command to say."""
    if isinstance(value, int | float) and not abs(value) <= LARGEST:
        raise ValueError(f"{str(value)[:20]} is no number that can be meant here.")


def main(words: list[str] | None = None) -> None:
    """Run one command and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that has no sign for a name shows a question mark; it is no reason to stop half way.
            stream.reconfigure(errors="replace")
    sys.exit(run(sys.argv[1:] if words is None else words))


def run(words: list[str]) -> int:
    """Run one command and give its exit code; a fault is printed as problem and remedy, a bug keeps its traceback."""
    from cyclopts import CycloptsError

    from aerobe.errors import AerobeError, Damaged

    app = build()
    try:
        answer = app(words, exit_on_error=False, print_error=True, result_action="return_value")
    except CycloptsError:
        return MISUNDERSTOOD
    except Damaged as fault:
        return _again_with_whole_part(words, fault)
    except AerobeError as fault:
        _say_fault(fault, as_json="--json" in words)
        return FAULT
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output (head, less) has gone; that is its good right.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    return answer if isinstance(answer, int) and not isinstance(answer, bool) else DONE


def _again_with_whole_part(words: list[str], fault: Exception) -> int:
    """The same command over what is whole of a damaged notebook; where nothing is, the fault stands."""
    from aerobe.cli._common import MET_DAMAGE

    if MET_DAMAGE.get() is not None:
        _say_fault(fault, as_json="--json" in words)
        return FAULT
    met = MET_DAMAGE.set(fault)
    try:
        return run(words)
    finally:
        MET_DAMAGE.reset(met)


def _say_fault(fault: Exception, *, as_json: bool) -> None:
    problem, remedy = getattr(fault, "problem", str(fault)), getattr(fault, "remedy", "")
    if as_json:
        import json

        from aerobe.cli._common import as_text_of_json

        print(
            as_text_of_json(json.dumps({"fault": type(fault).__name__, "problem": problem, "remedy": remedy}, ensure_ascii=False))
        )
    from aerobe.cli._common import in_units, shown
    from aerobe.errors import UnusableForm

    each = [fault for _, fault in fault.by_field] if isinstance(fault, UnusableForm) else [fault]
    for one in each:
        problem, remedy = getattr(one, "problem", str(one)), getattr(one, "remedy", "")
        print(f"{shown(in_units(problem))}\n{shown(in_units(remedy))}".rstrip(), file=sys.stderr)


__all__ = ["COMMANDS", "DONE", "FAULT", "MISUNDERSTOOD", "NOT_SETTLED", "build", "main", "run"]
