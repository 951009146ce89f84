"""Commands that bring tables and packages in and out."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, counted, now, progress, say, shown, table
from aerobe.errors import ImportFault
from aerobe.records import as_plain
from aerobe.units import ELAPSED, number
from aerobe.usecases.notebook import require_new, write_new

if TYPE_CHECKING:
    from aerobe.usecases.exchange import Preview, RowRead, TakenIn, Wishes


DayFirst = Annotated[bool | None, Parameter(negative="--no-day-first")]
DecimalComma = Annotated[bool | None, Parameter(negative="--no-decimal-comma")]


def import_file(
    file: Path,
    /,
    *,
    yes: Annotated[bool, Parameter(name=["--yes", "-y"])] = False,
    column: tuple[str, ...] = (),
    answer: tuple[str, ...] = (),
    brew: str = "",
    assay: str = "",
    trial: str = "",
    zone: str = "",
    day_first: DayFirst = None,
    decimal_comma: DecimalComma = None,
    started: str = "",
    at: str = "",
    sheet: str = "",
    where: Where = OWN,
) -> int:
    """Take in a table of readings, a logger file, or a data package. Shows first what it understood.

    Parameters
    ----------
    file
        CSV, TSV or a spreadsheet; or a .zip that `aerobe export` wrote.
    yes
        Keep what the preview shows without asking. Without it, where nobody can be asked, nothing is kept; the exit code is 4.
    column
        What a column means: --column "DO=oxygen [mg/L]". May be given several times.
    answer
        An answer to a question of the preview, by its word in brackets: --answer "means of=several brews". Several times.
    brew
        Key of the brew of rows that do not name theirs. A table that names brews itself asks which is which.
    assay
        Key of the assay of rows that do not name theirs.
    trial
        Name of the trial that the table's treatments belong to.
    zone
        Time zone of clock times without offset: Europe/Berlin, or +02:00.
    day_first
        03/04 is the third of April; with --no-day-first it is the fourth of March. Told by the other rows if left out.
    decimal_comma
        Numbers are written 8,2; with --no-decimal-comma 8.2. Told by the other rows if left out.
    started
        When the air went on, for brews the table begins (2026-05-01T08:00+02:00).
    at
        When rows without a time of their own were sampled, since the air went on: --at "24 h".
    sheet
        Which sheet of a spreadsheet.
    """
    from aerobe.usecases.exchange import Wishes, is_long, preview_table, require_harmless, take_in
    from aerobe.usecases.notebook import moment_of

    wishes = Wishes(
        columns=_pairs(column, 'Write --column "DO=oxygen [mg/L]".'),
        replies=_pairs(answer, 'Write --answer "doubles=repeated tests".'),
        brew=brew,
        assay=assay,
        trial=trial,
        zone=zone,
        own_zone=_own_zone(),
        day_first=day_first,
        decimal_comma=decimal_comma,
        started_at=moment_of(started, now=now()) if started else None,
        sheet=sheet,
        at_h=ELAPSED.read(at) if at else None,
    )
    try:
        if is_long(file):
            return _long(file, wishes, where, yes=yes)
        content = file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
    if content[:4] == b"PK\x03\x04" and file.suffix.lower() == ".zip":
        return _package(content, file.name, where)
    with where.open() as notebook:
        with progress("reading the table"):
            require_harmless(content, file.name, package=False)
            preview = preview_table(content, file.name, wishes, notebook=notebook, now=now())
        if not preview.ready or not (yes or _agreed(preview, quiet=where.json)):
            shown = {
                "ready": preview.ready,
                "columns": as_plain(preview.reading.columns),
                "questions": as_plain(preview.questions),
                "ignored": preview.ignored,
                "kept": False,
            }
            say(shown, as_json=where.json, text=[*_shown(preview), "Nothing was kept."])
            return NOT_SETTLED
        with progress("keeping rows"):
            taken = take_in(notebook, content, file.name, wishes, now=now())
    say(taken, as_json=where.json, text=_told(taken))
    return 0


def export(target: Path, /, *, trial: str = "", with_codes: bool = False, where: Where = OWN) -> None:
    """Write the notebook, or one trial, as an open data package.

    Parameters
    ----------
    target
        The zip file to write.
    trial
        Key of the one trial to write.
    with_codes
        Export while codes of a blind trial are closed, too; noted like a look at the key.
    """
    from aerobe.usecases.exchange import export_package

    require_new([target])
    with where.open(create=False) as notebook, progress("packing"):
        content = export_package(notebook, now=now(), trial=trial, with_codes=with_codes)
    write_new({target: content})
    written = {"package": str(target), "bytes": len(content)}
    say(written, as_json=where.json, text=f"Wrote {target} ({len(content) / 1e3:.0f} kB).")


def _long(file: Path, wishes: Wishes, where: Where, *, yes: bool) -> int:
    """A log too long to be held: what its head is understood as is shown, then it is read piece by piece."""
    from aerobe.usecases.exchange import look_at_long_log, take_in_long_log

    with where.open(create=False) as notebook, file.open("rb") as stream:
        if not yes:
            head = look_at_long_log(stream, file.name, wishes)
            lines = [*_shown(head), "A long log: add --yes to take it in as shown. Nothing was kept."]
            say({"ready": head.ready, "kept": False}, as_json=where.json, text=lines)
            return NOT_SETTLED
        with counted("reading the log") as told:
            share = None if told is None else lambda done: told(int(1000 * done), 1000)
            taken = take_in_long_log(notebook, stream, file.name, wishes, now=now(), progress=share)
    say(taken, as_json=where.json, text=_told(taken))
    return 0


def _package(content: bytes, name: str, where: Where) -> int:
    from aerobe.usecases.exchange import import_package, require_harmless

    with where.open() as notebook, progress("unpacking"):
        require_harmless(content, name, package=True)
        came = import_package(notebook, content, now=now())
    lines = [f"{number} {noun} are new." for noun, number in came.new.items()]
    lines += [f"{number} {noun} were there." for noun, number in came.known.items()]
    say(came, as_json=where.json, text=lines or "The package is empty.")
    return 0


def _shown(preview: Preview) -> list[str]:
    reading = preview.reading
    lines = table(
        ("column", "means", "unit", "why"), [(item.header, item.field, item.unit, item.because) for item in reading.columns]
    )
    lines.append(
        f"Read as {reading.letters.what}, columns by {reading.mark.what}; {reading.shape.form}: {reading.shape.because}."
    )
    lines += ["Read as the last table of this shape was."] if preview.remembered else []
    lines += [*reading.noted, *preview.ignored]
    for item in preview.questions:
        taken = "must be answered" if item.open else f"taken: {item.taken}"
        options = f" One of: {'; '.join(item.options)}." if item.options else ""
        lines.append(f"{'?' if item.open else '-'} [{item.key}] {item.says}{options} ({taken})")
    if preview.rows is not None:
        points = sum(len(probe.values) for probe in preview.rows.probes)
        lines.append(f"{len(preview.rows.results)} results, {points} probe values, {len(preview.rows.faults)} bad cells.")
        lines += [_example(row) for row in preview.example]
        lines += [f"Brews: {', '.join(preview.brews)}"] if preview.brews else []
        lines += [f"Assays: {', '.join(preview.assays)}"] if preview.assays else []
        lines += [f"Row {fault.row}, {fault.column}: {fault.reason} {fault.remedy}" for fault in preview.rows.faults[:10]]
    if preview.open_questions:
        lines.append('Answer with --answer "WORD IN BRACKETS=ANSWER", once for each.')
    return lines


def _example(row: RowRead) -> str:
    """A result as the person can check it against the file."""
    when = f"{row.elapsed_h:g} h" if row.elapsed_h is not None else f"{row.clock:%Y-%m-%d %H:%M} UTC" if row.clock else "no time"
    bound = "<" if row.below_detection else ">" if row.above_range else ""
    what = " ".join(filter(None, (row.method, row.variable or row.measured))).replace("_", " ")
    error = f" +- {number(row.uncertainty)}" if row.uncertainty is not None else ""
    kind = ", a mean, kept beside" if row.is_mean else f", {row.role}" if row.role != "sample" else ""
    value = f"{bound}{number(row.value, 6)}{error} {row.unit}"
    return f"Row {row.row}: {row.label or 'no brew named'}, {what or 'value'}, {when}: {value}{kind}"


def _agreed(preview: Preview, *, quiet: bool) -> bool:
    if quiet or not sys.stdin.isatty():
        return False
    print("\n".join(shown(line) for line in _shown(preview)))
    return input("Keep this? [y/N] ").strip().lower() in ("y", "yes", "j", "ja")


def _told(taken: TakenIn) -> list[str]:
    lines = [f"{taken.readings} readings and {taken.log_points} probe values kept."]
    lines += [f"{taken.duplicates} readings were there already."] if taken.duplicates else []
    lines += [f"{taken.empty} empty cells."] if taken.empty else []
    lines += [*taken.notes, *taken.taken_for, *taken.ignored]
    lines += [f"Row {fault.row}, {fault.column}: {fault.reason} {fault.remedy}" for fault in taken.faults]
    return lines


def _own_zone() -> str:
    """The zone of this machine's clock by name, offered for times without one; empty where the machine does not tell."""
    named = os.environ.get("TZ", "").lstrip(":")
    where = str(Path("/etc/localtime").resolve())
    return named or (where.rpartition("zoneinfo/")[2] if "zoneinfo/" in where else "")


def _pairs(items: tuple[str, ...], remedy: str) -> dict[str, str]:
    pairs = {}
    for item in items:
        name, equals, said = item.partition("=")
        if not equals:
            raise ImportFault(f"'{item}' does not say what is meant.", remedy)
        pairs[name.strip()] = said.strip()
    return pairs
