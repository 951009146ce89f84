"""Codes stay closed in every list, page and answer; the notebook's own order of writing says what was planned and blind."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe.cli import run
from aerobe.errors import AerobeError, ImportFault, NotAllowed, UnusableRecord
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Arm, Assay, Brew, Compost, Reading, Recipe, RunSheet, Trial, Vessel
from aerobe.trials import Controls, Starts, draw_run_sheet, plots_of
from aerobe.usecases.evidence import all_evidence
from aerobe.usecases.exchange import export_package
from aerobe.usecases.reports import report_of_brew
from aerobe.usecases.trials import (
    JudgedBy,
    TrialWish,
    keep_verdict,
    note_key_shown,
    open_codes,
    open_key,
    plan_fingerprint,
    plan_history,
    print_run_sheet,
    seal_key,
    start_planned_brew,
    start_trial,
    trial_shown,
    verdict_of_trial,
)
from aerobe.usecases.trials._blinding import HIDDEN, shown
from aerobe.usecases.trials._lots import new_seed
from aerobe.web import create_app

DAY = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
SECRETS = ("zanthoxylum", "quillwort")  # recipe names that stand nowhere else
NO_CONTROLS = Controls(roles=(), round_roles=(), tests_per_brew=0, tests_per_round=0, reasons=())


def blind_trial(notebook: Notebook, *, planned_at: datetime = DAY, plan_first: bool = True) -> list[str]:
    """Four brews of two recipes under codes, each with one result; gives the brews' keys."""
    notebook.add(Compost(key="heap", name="Heap"), at=DAY)
    for name in SECRETS:
        notebook.add(Recipe(key=name, name=name, compost="heap", compost_g_per_l=20.0), at=DAY)
    for key in ("a", "b"):
        notebook.add(
            Vessel(key=key, name=f"Bucket {key}", volume_l=20.0, depth_m=0.4, air=AirSupply(flow_l_per_min=10.0)), at=DAY
        )
    notebook.add(Assay(key="count", name="Counts", method="direct microscopy", unit="ug C/mL"), at=DAY)
    trial = Trial(
        key="t",
        name="Which",
        question="two recipes",
        arms=tuple(Arm(key=name, recipe=name, is_standard=i == 0) for i, name in enumerate(SECRETS)),
        margin_ratio=1.5,
        planned_at=planned_at,
    )
    sheet = draw_run_sheet(
        trial,
        plots_of(2, 2, 2),
        controls=NO_CONTROLS,
        sample_times_h=[24.0],
        tests_per_brew=1,
        seed=1,
        starts=Starts(first=DAY + timedelta(days=1)),
        vessels=("a", "b"),
    )
    if plan_first:
        notebook.add(trial, at=DAY)
        notebook.add(sheet, at=DAY)
    keys = []
    for i, line in enumerate(sheet.brews):
        start = line.starts_at or DAY
        if plan_first:
            keys.append(start_planned_brew(notebook, "t", line.blind_code, now=start).key)
        else:
            brew = Brew(key=line.brew, name=line.blind_code, recipe=line.arm, vessel=line.vessel, started_at=start)
            keys.append(notebook.add(brew, at=start).key)
        reading = Reading(
            key=f"r{i}",
            brew=keys[-1],
            assay="count",
            role="sample",
            elapsed_h=24.0,
            signal=100.0 + 7 * i,
            unit="ug C/mL",
            typed_as=f"{100 + 7 * i}",
        )
        notebook.add_reading(reading, at=start + timedelta(hours=24))
    if not plan_first:
        late = DAY + timedelta(days=20)
        notebook.add(trial, at=late)
        notebook.add(sheet, at=late)
        for line in sheet.brews:
            old = notebook.get(Brew, line.brew)
            notebook.change(replace(old, trial="t", arm=line.arm, block=line.block, blind_code=line.blind_code), at=late)
    return keys


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "tea.notebook"


def told(*words: str) -> str:
    out = io.StringIO()
    with redirect_stdout(out):
        run(list(words))
    return out.getvalue()


def names_in(text: str) -> list[str]:
    return [name for name in SECRETS if name in text.lower()]


@pytest.mark.parametrize("as_json", [False, True])
def test_no_command_shows_a_recipe_beside_a_closed_code(book: Path, as_json: bool) -> None:
    with open_notebook(book, at=DAY) as notebook:
        keys = blind_trial(notebook)
    flags = ["--notebook", str(book), *(["--json"] if as_json else [])]
    lines = [["brew", "list"], ["notebook", "show", "brew"]]
    lines += [[*words, key] for key in keys for words in (["brew", "show"], ["notebook", "show", "brew"], ["reading", "list"])]
    for line in lines:
        text = told(*line, *flags)
        assert text and not names_in(text), line
    view = json.loads(told("trial", "show", "t", *flags[:2], "--json"))
    assert not names_in(json.dumps([view["sheet"], view["brews"], view["waiting"]]))
    told("trial", "open-codes", "t", *flags[:2])
    assert names_in(told("brew", "list", *flags))


def test_no_page_of_a_brew_shows_a_recipe_beside_a_closed_code(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        keys = blind_trial(notebook)
        app = create_app(notebook, clock=lambda: DAY + timedelta(days=3))
        app.state.thinker.advise = None
        app.state.hindsight.advise = None
        with TestClient(app, base_url="http://localhost") as client:
            _no_page_tells(client, keys)


def _no_page_tells(client: TestClient, keys: list[str]) -> None:
    paths = set(client.app.openapi()["paths"]) | {"/brews/{key}", "/brews/{key}/record"}  # type: ignore[attr-defined]
    asked = [
        path.replace("{key}", keys[0]).replace("{brew}", keys[0]) for path in paths if path.startswith(("/brews/", "/api/brews"))
    ]
    seen = 0
    for path in ["/", "/brews", "/api/brews", "/trials/t/sheet", "/trials/t/calendar.ics", *asked]:
        if "{" in path:
            continue
        answer = client.get(path)
        if answer.status_code == 200:
            seen += 1
            # The form of a new brew offers all recipes: it shows no code.
            assert not names_in(answer.text) or path.endswith("/new"), path
    assert seen >= 5


def test_what_leaves_the_notebook_waits_for_the_codes(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        keys = blind_trial(notebook)
        later = DAY + timedelta(days=9)
        with pytest.raises(NotAllowed, match="still blind"):
            report_of_brew(notebook, keys[0], now=later)
        assert names_in(print_run_sheet(notebook, "t", now=later)) == []
        found = verdict_of_trial(notebook, "t", now=later)
        keep_verdict(notebook, "t", found, now=later)  # a verdict shows the arms: whoever has seen it is no longer blind
        report_of_brew(notebook, keys[0], now=later)


def test_a_package_waits_for_the_codes_or_notes_that_it_showed_them(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        later = DAY + timedelta(days=3)
        for trial in ("", "t"):
            with pytest.raises(NotAllowed, match="blind"):
                export_package(notebook, now=later, trial=trial)
        assert names_in(told("notebook", "show", "run-sheet", "t", "--notebook", str(book))) == []
        assert export_package(notebook, now=later, with_codes=True)
        assert notebook.kept("key shown", "t")


def test_looking_is_not_asking_and_a_get_writes_nothing(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        app = create_app(notebook, clock=lambda: DAY + timedelta(days=9))
        app.state.thinker.advise = None
        app.state.hindsight.advise = None
        pair = {"first": SECRETS[0], "second": SECRETS[1], "outcome": "biomass", "margin": "1.25"}
        with TestClient(app, base_url="http://localhost") as client:
            for path in ("/trials/t/verdict", "/api/trials/t/verdict", "/compare", "/evidence", "/data/export"):
                answer = client.get(path, params=pair if path == "/compare" else {})
                assert "judge" in answer.text.lower() or answer.status_code == 200, path
                assert answer.status_code != 200 or path == "/evidence" or "Not judged yet" in answer.text, path
                assert path == "/compare" or not any(name in answer.text for name in SECRETS), path  # which names them itself
            assert not notebook.kept("question asked") and not notebook.kept("verdict")
        verdict_of_trial(notebook, "t", now=DAY + timedelta(days=9))
        asked = notebook.kept("question asked")
        again = verdict_of_trial(notebook, "t", now=DAY + timedelta(days=9), asks=False)
        assert again.looks == 1 and notebook.kept("question asked") == asked


def test_a_plan_entered_after_its_brews_counts_for_nothing_whatever_time_it_names(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook, plan_first=False, planned_at=DAY)
        history = plan_history(notebook, "t")
        assert not history.planned
        found = verdict_of_trial(notebook, "t", now=DAY + timedelta(days=30))
        assert any("after brews of the trial" in rival.words for rival in found.rivals)
        assert not any(item.planned for item in found.comparisons)
        assert [item.planned for item in all_evidence(notebook)[0]] == [False]


def test_a_plan_written_first_counts_as_planned_and_blind(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        history = plan_history(notebook, "t")
        assert history.planned and history.blinded and history.changes == ()
        assert all_evidence(notebook)[0] == ()  # nobody has judged it: a pool is no way to look first
        verdict_of_trial(notebook, "t", now=DAY + timedelta(days=9))
        found = all_evidence(notebook)[0]
        assert [(item.planned, item.blinded) for item in found] == [(True, True)]


def test_every_change_of_the_plan_is_printed_with_the_verdict(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        later = DAY + timedelta(days=9)
        notebook.change(replace(notebook.get(Trial, "t"), margin_ratio=1.1), at=later)
        found = verdict_of_trial(notebook, "t", now=later)
        words = [rival.words for rival in found.rivals if rival.name == "plan changed"]
        assert words == [
            "The plan was changed after the first result, on 2026-05-13 08:00 UTC: "
            "the difference worth having was 1.5 and became 1.1."
        ]
        other = verdict_of_trial(notebook, "t", by=JudgedBy(margin=2.0), now=later)
        assert "Judged with a margin of 2.00; the plan says 1.10." in [rival.words for rival in other.rivals]


@pytest.mark.parametrize("event", ["codes", "key"])
def test_results_entered_after_codes_or_key_were_seen_are_not_blind(book: Path, event: str) -> None:
    with open_notebook(book, at=DAY) as notebook:
        keys = blind_trial(notebook)
        opened_at = DAY + timedelta(days=9)
        (open_codes if event == "codes" else note_key_shown)(notebook, "t", now=opened_at)
        assert plan_history(notebook, "t").blinded  # all results were in before
        more = Reading(
            key="late",
            brew=keys[0],
            assay="count",
            role="sample",
            elapsed_h=26.0,
            signal=90.0,
            unit="ug C/mL",
            typed_as="90",
        )
        notebook.add_reading(more, at=opened_at + timedelta(hours=1))
        assert not plan_history(notebook, "t").blinded


def test_the_seed_of_the_lots_is_shown_once_the_codes_are_open(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        sheet = notebook.get(RunSheet, "t")
        assert sheet.seed == 1
        for view in (trial_shown(notebook, "t").sheet, shown(notebook, sheet)):
            assert view is not None and view.seed is None and {line.arm for line in view.brews} == {HIDDEN}
        bare = replace(sheet, brews=tuple(replace(line, blind_code="") for line in sheet.brews))
        assert shown(notebook, bare) == bare  # a sheet without codes hides nothing
        open_codes(notebook, "t", now=DAY)
        assert trial_shown(notebook, "t").sheet == sheet
        page = TestClient(create_app(notebook, clock=lambda: DAY), base_url="http://localhost").get("/trials/t").text
        assert "draw number 1 repeats it" in page


def test_lots_are_drawn_from_a_number_that_nobody_can_try_out(book: Path) -> None:
    assert len({new_seed() for _ in range(200)}) == 200 and max(new_seed() for _ in range(200)) > 2**40
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        wish = TrialWish(name="Again", arms=", ".join(SECRETS), scatter="0.3", margin="3", vessel_names="a, b")
        kept = [notebook.get(RunSheet, start_trial(notebook, replace(wish, seed=seed), now=DAY)).seed for seed in ("", "", "7")]
        assert kept[2] == 7 and len(set(kept)) == 3 and None not in kept


def test_whoever_never_saw_the_key_still_reads_blind(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        keys = blind_trial(notebook)
        note_key_shown(notebook, "t", now=DAY + timedelta(days=5), who="mixer")
        more = Reading(
            key="late", brew=keys[0], assay="count", role="sample", elapsed_h=26.0, signal=90.0, unit="ug C/mL", typed_as="90"
        )
        notebook.add_reading(more, at=DAY + timedelta(days=6), who="reader")
        assert plan_history(notebook, "t").blinded


def test_a_sealed_key_opens_with_its_passphrase_only(book: Path) -> None:
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        sealed = seal_key(notebook, "t", "correct horse", now=DAY, holder="neighbour")
        opened = open_key(sealed, "correct horse")
        sheet = notebook.get(RunSheet, "t")
        assert [(line["code"], line["arm"]) for line in opened.lines] == [(one.blind_code, one.arm) for one in sheet.brews]
        assert opened.seed == sheet.seed
        assert not names_in(sealed.decode())
        with pytest.raises(ImportFault, match="does not open"):
            open_key(sealed, "wrong horse")
        with pytest.raises(ImportFault):
            open_key(sealed.replace(b'"t"', b'"u"'), "correct horse")
        with pytest.raises(UnusableRecord, match="too short"):
            seal_key(notebook, "t", "short", now=DAY)
    for junk in (b"", b"[]", b"{}", b"\xff\xfe", json.dumps({"kind": "other"}).encode()):
        with pytest.raises(AerobeError):
            open_key(junk, "correct horse")


def test_the_key_never_goes_over_the_blind_run_sheet(book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
    flags = ["--notebook", str(book)]
    assert run(["trial", "sheet", "t", *flags]) == 0
    blind = Path("t-run-sheet.html").read_text(encoding="utf-8")
    assert run(["trial", "sheet", "t", "--with-arms", *flags]) == 0
    assert Path("t-run-sheet.html").read_text(encoding="utf-8") == blind
    assert names_in(Path("t-with-key.html").read_text(encoding="utf-8"))
    assert run(["trial", "sheet", "t", "t-run-sheet.html", "--with-arms", *flags]) == 3
    assert Path("t-run-sheet.html").read_text(encoding="utf-8") == blind


def test_the_fingerprint_of_a_plan_is_that_of_its_file_and_moves_with_the_plan(book: Path) -> None:
    import hashlib

    with open_notebook(book, at=DAY) as notebook:
        blind_trial(notebook)
        mark, content = plan_fingerprint(notebook, "t")
        assert mark == hashlib.sha256(content).hexdigest()
        notebook.change(replace(notebook.get(Trial, "t"), margin_ratio=1.2), at=DAY)
        assert plan_fingerprint(notebook, "t")[0] != mark
