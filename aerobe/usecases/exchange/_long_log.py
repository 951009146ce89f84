"""Logs too long to be taken in as a table: read piece by piece, kept as means of a minute, with the lowest and highest beside."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault
from aerobe.notebook import LogEnvelope, Notebook, Pen
from aerobe.oxygen import saturation_mg_per_l
from aerobe.records import Brew, SensorLog, Vessel
from aerobe.tables import (
    LONG_BYTES,
    LongLog,
    ProbeColumn,
    Question,
    Questions,
    RowsRead,
    ThinLog,
    head_of,
    names_of,
    plain_stream,
    read_long_log,
    read_table,
)
from aerobe.units import number
from aerobe.usecases.exchange._intake import Preview, about_brews, brew_for, preview_table
from aerobe.usecases.exchange._intake_trial import TrialMade, known_brews, make_trial, trial_key
from aerobe.usecases.exchange._keeper import TakenIn
from aerobe.usecases.exchange._origin import TakingIn, note_origin
from aerobe.usecases.exchange._rows_kept import bare
from aerobe.usecases.exchange._wishes import Wishes
from aerobe.usecases.notebook._moments import impossible

ENVELOPE = "log envelope"  # kept beside a thinned log: lowest, highest and number of readings of each interval
_SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".ods", ".xlsb", ".zip")
Array = NDArray[np.float64]


def is_long(path: Path) -> bool:
    """Whether a file is a log that is read piece by piece."""
    return path.stat().st_size > LONG_BYTES and path.suffix.lower() not in _SPREADSHEETS


def look_at_long_log(stream: BinaryIO, name: str, wishes: Wishes) -> Preview:
    """How the head of a long log is understood. Nothing is kept."""
    return preview_table(head_of(plain_stream(stream, name)), name, wishes)


def take_in_long_log(
    notebook: Notebook,
    stream: BinaryIO,
    name: str,
    wishes: Wishes,
    *,
    now: datetime,
    who: str = "",
    progress: Callable[[float], None] | None = None,
) -> TakenIn:
    """Keep a long log: its mean each minute as a log, the lowest, highest and number of readings beside it.

    A column that names brews tells whose each row is; brews that the notebook does not know are begun, as by a short table.

    Parameters
    ----------
    stream, name
        The file, opened for bytes, and its name.
    wishes
        As for `take_in`; `brew` names whose log it is, where no column does.
    progress
        Told the share that is done, 0 to 1.

    Raises
    ------
    ImportFault
        If nothing names a brew, a question is open, or nothing could be kept.
    """
    stream = plain_stream(stream, name)
    answers = wishes.answers()
    reading = read_table(head_of(stream), name, answers, columns=wishes.columns, zone=wishes.own_zone)
    _refuse_open(reading.open_questions)
    questions = Questions(answers)
    found = read_long_log(stream, reading, questions, progress=progress)
    if not found.logs:
        raise ImportFault(
            f"Not one value of {name} could be kept.", "Look at its columns and units. Nothing was written; try again."
        )
    stubs = _stubs(found)
    held = known_brews(notebook, trial_key(wishes.trial or bare(name)))
    every = [*questions.asked]
    if any(stub.label for stub in stubs):
        every += about_brews(RowsRead(results=(), probes=tuple(stubs), temperatures={}), wishes, answers, held)
    elif not wishes.brew:
        raise ImportFault(f"{name} is a long log that names no brew.", "Say whose it is: --brew KEY.")
    _refuse_open(tuple(question for question in every if question.open))
    replies = {question.key: question.taken for question in every}
    sha = _digest(stream)
    notes: list[str] = list(found.said)
    with notebook.writing() as pen:
        table = TakingIn(notebook=notebook, pen=pen, file=bare(name), sha256=sha, now=now, who=who)
        begun = [stub for stub in stubs if brew_for(stub, wishes, replies, held) is None]
        trial = _begin(table, begun, wishes, replies) if begun else None
        held |= trial.by_label if trial else {}
        points = 0
        for log, stub in zip(found.logs, stubs, strict=True):
            brew = brew_for(stub, wishes, replies, held)
            if brew is None:
                raise ImportFault(f"The notebook has no brew '{wishes.brew or stub.label}'.", "Name one by its key: --brew KEY.")
            points += _keep(notebook, pen, brew, log, found, notes, now, who)
        for key in sorted({brew.key for stub in stubs if (brew := brew_for(stub, wishes, replies, held))}):
            note_origin(table, key)
        pen.note(at=now, who=who, did="import", noun="file", key=sha[:16], why=f"{bare(name)}: {points} log points")
    every_s = f"one value in {found.width_s:g} s of each channel"
    thinned = f"{found.rows} rows became {every_s}: the mean. Lowest, highest and number are kept beside."
    met = (f"{found.bad_rows} rows without a time, ", f"{found.bad_cells} values that are none or beyond what a probe can show")
    notes += [thinned] + ([f"Left out: {met[0]}{met[1]}."] if found.bad_rows + found.bad_cells else [])
    asked = (*reading.questions, *every)
    return TakenIn(
        trial=trial.trial if trial else "",
        brews=trial.brews if trial else (),
        assays=(),
        readings=0,
        duplicates=0,
        log_points=points,
        kept_beside=0,
        empty=found.empty,
        faults=(),
        notes=(*notes, *(trial.notes if trial else ())),
        taken_for=tuple(f"{item.asks} Taken: {item.taken}." for item in asked if not item.reply and item.default),
        ignored=reading.ignored,
    )


def _refuse_open(questions: tuple[Question, ...]) -> None:
    if questions:
        asked = " ".join(f"[{question.key}] {question.says}" for question in questions)
        raise ImportFault(f"Before this log can be taken in: {asked}", "Answer by the word in brackets and try again.")


def _stubs(found: LongLog) -> list[ProbeColumn]:
    """One probe for each thinned log, with its first and last moment only: enough to say whose it is and when it began."""
    names = names_of(log.labels for log in found.logs)
    stubs = []
    for log in found.logs:
        ends = [float(log.times[0]), float(log.times[-1])]
        stubs.append(
            ProbeColumn(
                labels=log.labels,
                channel=log.channel,
                unit=log.unit,
                label=names.get(log.labels, ""),
                rows=[1, found.rows],
                places=[0, 1],
                elapsed_h=[None, None] if found.by_clock else list(ends),
                clocks=[datetime.fromtimestamp(end, tz=UTC) for end in ends] if found.by_clock else [None, None],
                values=[float(log.mean[0]), float(log.mean[-1])],
            )
        )
    return stubs


def _begin(
    table: TakingIn,
    begun: list[ProbeColumn],
    wishes: Wishes,
    replies: dict[str, str],
) -> TrialMade | None:
    """A trial for brews that only the log names, as a table's brews begin one."""
    named = [stub for stub in begun if stub.label]
    if not named:
        return None
    return make_trial(
        table,
        named,
        [],
        key=trial_key(wishes.trial or table.file),
        name=wishes.trial or table.file,
        started_at=wishes.started_at,
        temperatures={},
        transfer=replies.get("transfer", ""),
    )


def long_log_envelope(notebook: Notebook, brew: str, channel: str) -> LogEnvelope | None:
    """Lowest, mean and highest value and number of readings in each interval of a log that was thinned; None if none was."""
    held = [item.payload for item in notebook.kept(ENVELOPE, brew) if item.payload["channel"] == channel]
    if not held:
        return None
    parts = {name: np.concatenate([_unpacked(item[name]) for item in held]) for name in ("times", "low", "mean", "high", "count")}
    order = np.argsort(parts["times"], kind="stable")
    return LogEnvelope(
        channel=channel,
        elapsed_h=parts["times"][order],
        low=parts["low"][order],
        high=parts["high"][order],
        mean=parts["mean"][order],
        points=parts["count"][order].astype(np.int64),
    )


def _hours(log: ThinLog, found: LongLog, brew: Brew) -> Array:
    if not found.by_clock:
        return log.times
    return (log.times - brew.started_at.astimezone(UTC).timestamp()) / 3600.0


def _keep(
    notebook: Notebook, pen: Pen, brew: Brew, log: ThinLog, found: LongLog, notes: list[str], now: datetime, who: str
) -> int:
    hours = _hours(log, found, brew)
    said = impossible(float(hours[-1]), brew, now=now) or impossible(float(hours[0]), brew, now=now)
    if said:
        raise ImportFault(
            f"The log of {log.channel} cannot be of '{brew.key}'. {said}", "Check brew, zone and the clock of the logger."
        )
    scale: Array | float = 1.0
    if log.unit == "% saturation":
        beside = {item.channel: item for item in found.logs if item.labels == log.labels}
        water, salt = beside.get("temperature"), beside.get("salinity")
        degrees = (
            np.interp(hours, _hours(water, found, brew), water.mean) if water else np.full(len(hours), brew.temperature_degc)
        )
        altitude = notebook.get(Vessel, brew.vessel).altitude_m
        salts = np.interp(hours, _hours(salt, found, brew), salt.mean) if salt else np.zeros(len(hours))
        scale = np.asarray(saturation_mg_per_l(degrees, altitude_m=altitude, salinity=salts)) / 100.0
        by = "the temperatures of the log" if water else f"the brew's {number(brew.temperature_degc)} degC"
        by += ", and its salinities" if salt else ""
        notes.append(f"Oxygen in % of saturation was turned into mg/L at {altitude:g} m above the sea and {by}.")
    mean, low, high = log.mean * scale, log.low * scale, log.high * scale
    record = SensorLog(
        brew=brew.key, channel=log.channel, elapsed_h=tuple(hours.tolist()), values=tuple(mean.tolist()), probe="imported"
    )
    receipt = pen.append_log(record, at=now, who=who)
    if receipt.points:
        packed = {"times": hours, "low": low, "mean": mean, "high": high, "count": log.count.astype(np.float64)}
        payload = {"channel": log.channel, "width_s": found.width_s, **{name: _packed(array) for name, array in packed.items()}}
        pen.keep(ENVELOPE, brew.key, payload, at=now, who=who)
    return receipt.points


def _packed(array: Array) -> str:
    return base64.b64encode(np.asarray(array, dtype="<f8").tobytes()).decode("ascii")


def _unpacked(text: str) -> Array:
    return np.frombuffer(base64.b64decode(text), dtype="<f8")


def _digest(stream: BinaryIO) -> str:
    stream.seek(0)
    digest = hashlib.sha256()
    while piece := stream.read(1 << 22):
        digest.update(piece)
    return digest.hexdigest()
