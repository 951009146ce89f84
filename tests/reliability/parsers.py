"""Every reader of foreign input, with valid samples to spoil. Pure readers here; those behind the app and the command line in
`doors.py`."""

from __future__ import annotations

import io
import json
import math
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl

from aerobe import usecases
from aerobe.assay import study_from_table
from aerobe.evidence import contrasts_from_table
from aerobe.notebook import open_notebook
from aerobe.records import Assay, Brew
from aerobe.tables import zone_of
from aerobe.units import AREA, KINDS, dilution_factor, parse_number
from aerobe.usecases.notebook._moments import elapsed_from
from aerobe.usecases.notebook._records import ReadingEntry
from aerobe.usecases.oxygen._form import FoodForm
from aerobe.usecases.safety._entry import UseEntry, amounts_of, applied_of, field_findings
from aerobe.usecases.safety._notes import _heat_log
from aerobe.usecases.safety._place_entry import yes_or_no
from aerobe.usecases.trials._wish import TrialWish
from aerobe.web._alarms import AlarmSettings
from aerobe.web._broker import topics_from
from aerobe.web._points import batches_from
from tests.conftest import DATA
from tests.reliability.files import file_readers, spoil_zip_or_bytes
from tests.reliability.forms import RATIOS, RUN, TABLE, USE, WISH
from tests.reliability.fuzz import Parser, spoil_bytes, spoil_plain, spoil_text
from tests.web.conftest import START

BREW = Brew(key="b1", name="First", recipe="plain", vessel="barrel", started_at=START)
ASSAY = Assay(key="card", name="Card", method="colour test", unit="ug C/mL")
LOGGER = (
    b"Logger 17;shed\r\nserial;0042\r\n\r\nDate;Time;DO [mg/L];Temp [degC]\r\n01.05.2026;08:00;8,2;19,5\r\n"
    b"01.05.2026;08:10;8,1;19,6\r\n01.05.2026;08:20;7,9;19,7\r\n"
)
WIDE = (DATA / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv").read_bytes()[:4000].rsplit(b"\n", 1)[0]
FIELDS_READ = ("value", "elapsed_h", "signal", "dilution", "sd")


def parsers(folder: Path) -> Iterator[Parser]:
    """All pure readers. Files that a reader needs lie in `folder`."""
    yield from _numbers_and_times()
    yield from _tables()
    yield from _typed_forms(folder)
    yield from _messages()
    yield from file_readers(folder)


def _numbers_and_times() -> Iterator[Parser]:
    yield Parser(name="numbers", read=parse_number, samples=["8,2", "1.234,5", "-0.5e-3", "1 234,5", "12"], sane=_finite)
    every = [(kind, unit) for kind in KINDS.values() for unit in kind.accepts]
    yield Parser(
        name="quantities with units",
        read=lambda pair: (pair[0], pair[0].read(pair[1])),
        samples=[(kind, f"{_inside(kind, unit):.6g} {unit}".strip()) for kind, unit in every],
        spoil=lambda rng, pair: (pair[0], spoil_text(rng, pair[1])),
        sane=lambda found: _between(found[1], found[0].low, found[0].high),
        quick=200,
    )
    samples = ["8", "8.5 h", "90 min", "2026-05-01T16:00:00+02:00", "2026-05-01 16:00", "14:10", ""]
    yield Parser(
        name="times of a reading",
        read=lambda text: elapsed_from(text, BREW, now=START),
        samples=samples,
        sane=lambda hours: _between(hours, -1000.0, 10000.0),
    )
    yield Parser(
        name="age of a waiting entry",
        read=lambda text: elapsed_from("", BREW, now=START, age_s=text),
        samples=["12.5", "0", ""],
    )
    yield Parser(
        name="start of a brew, time of a use",
        read=lambda text: usecases.notebook.moment_of(text, now=START),
        samples=["08:30", "2026-05-01 08:30", ""],
    )
    yield Parser(name="time zones", read=zone_of, samples=["Europe/Berlin", "+02:00", "UTC", "GMT-3"])
    yield Parser(name="dilutions", read=dilution_factor, samples=["1:10", "1 in 10", "10", "2,5"], sane=_finite)


def _inside(kind: Any, unit: str) -> float:
    """A number that is plausible in this unit."""
    low, high = max(kind.low, -1e6), min(kind.high, 1e6)
    middle = low + 0.3 * (high - low) if kind.name == "temperature" else max(low, 0.0) + 1e-3 * (high - max(low, 0.0))
    return middle / kind.accepts[unit] - kind.offsets.get(unit, 0.0)


def _tables() -> Iterator[Parser]:
    yield Parser(
        name="tables as text",
        read=lambda content: usecases.exchange.preview_table(content, "table.csv", _WISHES),
        samples=[TABLE, LOGGER, WIDE, LOGGER.replace(b";", b"\t"), "hours;DO\n1;8,2\n2;8\n".encode("utf-16")],
        spoil=spoil_bytes,
        sane=_rows_are_finite,
    )
    for name, columns in (("what a column means", {"hours": "elapsed [h]"}), ("which zone and order", {})):
        yield Parser(name=name, read=_mapped, samples=[{**columns, "zone": "+02:00"}], spoil=_spoil_meanings)
    book = _spreadsheet()
    yield Parser(
        name="spreadsheets",
        read=lambda content: usecases.exchange.preview_table(content, "table.xlsx", _WISHES),
        samples=[book],
        spoil=spoil_zip_or_bytes,
        sane=_rows_are_finite,
    )
    yield Parser(name="tables of trials of others", read=contrasts_from_table, samples=[RATIOS.decode(), _MEANS])
    yield Parser(
        name="tables of a study",
        read=lambda text: study_from_table(text, name="x", method="colour test"),
        samples=[usecases.assay.example_study()],
    )
    yield Parser(
        name="runs of a probe",
        read=lambda text: usecases.oxygen.read_run(text, time_unit="s", oxygen_unit="mg/L"),
        samples=[RUN, RUN.replace(",", "\t").replace("\t oxygen", ", oxygen"), "0 9\n5 8.5\n10 8"],
        sane=lambda log: "" if all(map(math.isfinite, [*log.times_h, *log.oxygen_mg_per_l])) else "not finite",
    )


_WISHES = usecases.exchange.Wishes(columns={}, brew="b1", zone="+02:00", day_first=True)
_MEANS = (
    "key;recipe;against;mean;sd;brews;mean_against;sd_against;brews_against;blinded\nshed-1;kelp;plain;12,5;2;4;10;1,8;4;yes\n"
)


def _mapped(said: dict[str, str]) -> Any:
    columns = {key: value for key, value in said.items() if key != "zone"}
    return usecases.exchange.preview_table(TABLE, "log.csv", usecases.exchange.Wishes(columns=columns, zone=said.get("zone", "")))


def _spoil_meanings(rng: random.Random, said: dict[str, str]) -> dict[str, str]:
    return {key: spoil_text(rng, value) if rng.random() < 0.7 else value for key, value in said.items()}


def _rows_are_finite(preview: Any) -> str:
    if preview.rows is None:
        return ""
    values = [getattr(row, name) for row in preview.rows.results for name in FIELDS_READ if hasattr(row, name)]
    values += [value for probe in preview.rows.probes for value in (*probe.values, *probe.elapsed_h)]
    return "" if all(value is None or math.isfinite(value) for value in values) else "a value that is not finite"


def _spreadsheet() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (("hours", "biomass (ug C/mL)", "DO (mg/L)"), (1, 12.5, 8.2), (2, "<3", 8.1), (3, 40, None)):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _typed_forms(folder: Path) -> Iterator[Parser]:
    yield _form(
        "readings",
        {"signal": "<12,5 ug C/mL", "when": "90 min", "dilution": "1:10", "replicate": "2", "role": "sample"},
        lambda typed: ReadingEntry(brew="b1", assay="card", **typed).to_reading(BREW, ASSAY, key="r1", now=START),
        sane=lambda found: _finite(found.signal),
    )
    food = {
        "food": "molasses",
        "volume": "20 L",
        "flow": "10 L/min",
        "others": "kelp-meal 0.5 g/L, fish-hydrolysate 1,5 g/L",
        "probability": "90 %",
        "hours": "36 h",
        "feeds": "0 8 16",
        "kla": "20 /h",
    }
    yield _form("recipes and air, as typed", food, lambda typed: FoodForm(**typed).question())
    book = open_notebook(folder / "typed.notebook", at=START)
    from tests.notebook.conftest import furnish

    furnish(book)
    wishes = [
        WISH,
        {**WISH, "question": "factors", "arms": "molasses: 0 / 2; kelp: 0 / 1"},
        {**WISH, "question": "dose series", "arms": "0, 1, 2 g/L", "of_recipe": "plain"},
    ]
    yield Parser(
        name="wishes of a trial",
        samples=wishes,
        spoil=_spoil_fields,
        quick=200,
        read=lambda typed: _wished(TrialWish.from_form(typed), book),
    )
    yield _form("uses", USE, _use)
    yield _form("densities", {"density": "1e8 5e7 2e8 /mL"}, lambda typed: applied_of(typed["density"], 5.0, 4.0))
    heat = {"log": "0 25\n3 61.5 turned\n5;60", "unit": "degC"}
    yield _form("heat logs of a compost", heat, lambda typed: _heat_log(typed["log"], typed["unit"]))
    tubes = {"amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "3 1 0"}
    yield _form("tubes", tubes, lambda typed: usecases.assay.count_tubes(**typed))
    yield _form("plates", {"text": "0.01:120 0.01:>300 0.001:14"}, lambda typed: usecases.assay.count_plates(**typed))
    yield _form("fields", {"counts": "12 15 9; 11"}, lambda typed: usecases.assay.count_fields(typed["counts"], volume_ml=1e-4))
    ratio = {"fungi": "12", "bacteria": "30", "fungi_sd": "2", "bacteria_sd": "3", "kind": "mass"}
    yield _form("ratios", ratio, lambda typed: usecases.assay.ratio_of_parts(**typed))
    basis = {"result": "12 +- 2", "density": "1.02", "moisture": "0.4"}
    yield _form(
        "results on another basis",
        basis,
        lambda typed: usecases.assay.result_on_basis(given="per mL", wanted="per g wet", **typed),
        sane=lambda found: _finite(found.linear.uncertainty) or _finite(found.simulated.high),
    )
    alarms = {
        "quiet_from": "22:00",
        "quiet_to": "6:00",
        "mail_to": "a@b.example",
        "mail_host": "mail.example",
        "webhook": "https://x.example/",
    }
    yield _form("alarms", alarms, lambda typed: AlarmSettings(**typed))
    yield _form(
        "topics of a broker",
        {"text": "shed/do | barrel | oxygen | mg/L\nshed/t | barrel | temperature | degC"},
        lambda typed: topics_from(**typed),
    )


def _form(name: str, typed: dict[str, str], read: Callable[[dict[str, str]], Any], **more: Any) -> Parser:
    return Parser(name=name, read=read, samples=[typed], spoil=_spoil_fields, **more)


def _spoil_fields(rng: random.Random, typed: dict[str, str]) -> dict[str, str]:
    made = dict(typed)
    for name in rng.sample(sorted(typed), k=min(len(typed), rng.choice((1, 1, 2, 3)))):
        made[name] = spoil_text(rng, made[name])
    return made


def _wished(wish: TrialWish, book: Any) -> Any:
    return (
        wish.to_trial(book, planned_at=START),
        wish.to_budget(),
        wish.to_scatter(book, now=START),
        wish.sampling_hours(),
        wish.first_start(START),
        wish.vessel_keys(book),
        wish.seed_number(),
    )


def _use(typed: dict[str, str]) -> Any:
    entry = UseEntry.from_form({**typed, "tea": f"{typed['tea']} L", "water": "2 L", "area": "4 m2"})
    field_findings(entry, sprayed=True)
    for text in (entry.edible, entry.touches, entry.soil):
        yes_or_no(text)
    return amounts_of(entry, AREA.read(entry.area))


def _messages() -> Iterator[Parser]:
    told = [
        {"channel": "oxygen", "unit": "mg/L", "value": 7.9},
        {"channel": "oxygen", "unit": "mg/L", "points": [["2026-05-01T08:00+02:00", 7.9], [1777615200, 8]]},
        [{"value": 7.9, "at": "2026-05-01T08:00+02:00"}, {"value": 8}],
    ]
    yield Parser(
        name="messages of probes, JSON",
        samples=told,
        spoil=spoil_plain,
        sane=_points_are_finite,
        read=lambda plain: batches_from(json.dumps(plain).encode(), "application/json", channel="oxygen", unit="mg/L"),
    )
    raw = [json.dumps(item).encode() for item in told] + [b"7.9", b"7,9"]
    yield Parser(
        name="messages of probes, raw",
        samples=raw,
        spoil=spoil_bytes,
        sane=_points_are_finite,
        read=lambda body: batches_from(body, "", channel="oxygen", unit="mg/L"),
    )
    table = b'time,channel,value,unit\n2026-05-01T09:00+02:00,oxygen,"7,5",mg/L\n2026-05-01T09:00+02:00,temperature,68,degF\n'
    yield Parser(
        name="messages of probes, table",
        samples=[table],
        spoil=spoil_bytes,
        sane=_points_are_finite,
        read=lambda body: batches_from(body, "text/csv"),
    )


def _points_are_finite(batches: Any) -> str:
    return next((said for batch in batches for point in batch.points if (said := _finite(point.value))), "")


def _finite(value: float) -> str:
    return "" if math.isfinite(value) else f"not finite: {value}"


def _between(value: float, low: float, high: float) -> str:
    return "" if low <= value <= high else f"{value} is outside {low} to {high}"
