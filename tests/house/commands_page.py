"""The guide's page of every command and option, made from the commands themselves: `python -m tests.house.commands_page`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from cyclopts import App

from aerobe.cli import COMMANDS, build

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "commands.md"
SHARED = {"--notebook", "--json"}
HEAD = """# Every command and option

Made from the commands' own help; after a change: `python -m tests.house.commands_page`. `aerobe COMMAND --help` says the same.

Words in capitals are typed without a name, in this order; options may stand anywhere. Quantities are typed with their unit:
"8,2 mg/L" or "20 degC". Every command that opens the notebook also takes `--notebook` (`-n`), and every command that answers
also takes `--json`: see [the command line](command-line.md). What the keys of a JSON answer mean: [answers](answers.md).
"""


def leaves(app: App) -> Iterator[tuple[str, App]]:
    """Every command a person can type, with its app."""
    for name in app:
        if name.startswith("-"):
            continue
        group = app[name]
        if group.default_command is not None:
            yield name, group
        for sub in group:
            if not sub.startswith("-"):
                yield f"{name} {sub}", group[sub]


def arguments(app: App) -> list[Any]:
    """What a command takes, without what all take."""
    found = app.assemble_argument_collection(default_parameter=build().default_parameter, parse_docstring=True)
    return [item for item in found if item.show and not SHARED & set(item.names)]


def without_meaning(commands: Iterable[tuple[str, App]]) -> list[str]:
    """Commands that say nothing of themselves, and options that say nothing of theirs."""
    return [
        line
        for name, app in commands
        for line in (
            *([] if _says(app) else [name]),
            *(f"{name} {item.names[0]}" for item in arguments(app) if not (item.parameter.help or "").strip()),
        )
    ]


def page(commands: Iterable[tuple[str, App]]) -> str:
    """The page as Markdown."""
    lines, last = [HEAD], ""
    for name, app in commands:
        group = name.split()[0]
        if group != last:
            lines += [f"## {group}\n", f"{COMMANDS[group][1] if group in COMMANDS else 'Shell completion.'}\n"]
            last = group
        lines += [f"### aerobe {name}\n", f"{_says(app)}\n"]
        rows = [_row(item) for item in arguments(app)]
        if rows:
            lines += ["| | default | meaning |\n|---|---|---|", *rows, ""]
    return "\n".join(lines).rstrip() + "\n"


def _says(app: App) -> str:
    text = (app.default_command.__doc__ or "") if app.default_command is not None else ""
    return " ".join(text.split("Parameters\n")[0].split())


def _row(item: Any) -> str:
    names = ", ".join(f"`{name}`" for name in item.names)
    default = item.field_info.default
    shown = "" if item.required or default in ("", False, None, ()) or not _is_plain(default) else str(default)
    if item.required:
        shown = "needed"
    return f"| {names} | {'yes' if default is True else shown} | {_cell(item.parameter.help or '')} |"


def _is_plain(value: object) -> bool:
    return isinstance(value, (str, int, float, Path))


def _cell(text: str) -> str:
    return re.sub(r"(?<!\\)\|", r"\\|", " ".join(text.split()))


if __name__ == "__main__":
    PAGE.write_text(page(leaves(build())), encoding="utf-8")
