"""A central composite from the plan to the package: page, command, JSON, report, script of the package."""

from __future__ import annotations

import html
import io
import json
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.errors import NotEnoughData
from aerobe.records import AirSupply, Assay, Brew, Compost, Costs, Reading, Recipe, Trial, Vessel
from aerobe.trials import Circumstances, Scatter, central_composite, weighted_plots
from aerobe.trials._circumstances import CLEAR
from aerobe.trials._composite import counts_of, surface_power
from aerobe.verdicts import judge
from aerobe.web import ServeSettings, create_app, open_state

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=timezone(timedelta(hours=2)))
WISH = usecases.trials.TrialWish(
    name="Best feed",
    question="factors",
    runs="central composite",
    arms="molasses: 0 / 2; kelp: 0 / 1",
    vessels="7",
    money="900",
    days="10",
    scatter="0.2",
    test_scatter="0.1",
    margin="2",
    assay="scope",
    seed="1",
)
Levels = dict[str, float]


def peaked(at: Levels) -> float:
    return float(np.exp(-0.8 * (at["molasses"] - 1.2) ** 2 - 1.5 * (at["kelp"] - 0.4) ** 2))


def brewed(path: Path, truth: Callable[[Levels], float] = peaked, **wished: str) -> tuple[Any, str, datetime]:
    """The notebook with a composite whose brews are all in, its key, and a moment after the last result."""
    book = usecases.notebook.open_notebook(path, at=NOW)
    book.add(Compost(key="leaf", name="Leaf mould"), at=NOW)
    for place in range(7):
        vessel = Vessel(key=f"v{place}", name=f"Bucket {place}", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0))
        book.add(vessel, at=NOW)
    book.add(Assay(key="scope", name="Cells", method="direct microscopy"), at=NOW)
    key = usecases.trials.start_trial(book, replace(WISH, **wished), now=NOW)
    levels = {arm.key: dict(arm.levels) for arm in book.get(Trial, key).arms}
    for point in levels:
        book.add(Recipe(key=point, name=point, compost="leaf", compost_g_per_l=30.0), at=NOW)
    noise, last = np.random.default_rng(4), NOW
    for line in usecases.trials.trial_view(book, key).sheet.brews:
        usecases.trials.start_planned_brew(book, key, line.blind_code, now=line.starts_at)
        brew = book.get(Brew, line.brew)
        book.change(replace(brew, costs=Costs(brew=20.0)), at=line.starts_at)
        value = 30.0 * truth(levels[line.arm]) * float(np.exp(noise.normal(0.0, 0.1)))
        last = line.starts_at + timedelta(hours=24)
        reading = Reading(
            key=f"{brew.key}-r",
            brew=brew.key,
            assay="scope",
            role="sample",
            elapsed_h=24.0,
            signal=value,
            unit="ug C/mL",
            typed_as=f"{value:g}",
        )
        book.add_reading(reading, at=last)
    return book, key, last + timedelta(hours=1)


@pytest.fixture(scope="module")
def composite(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, str, datetime]]:
    book, key, after = brewed(tmp_path_factory.mktemp("composite") / "t.notebook")
    yield book, key, after
    book.close()


def test_it_is_planned_with_two_brews_of_the_standard_and_says_what_each_point_is(composite) -> None:
    book, key, _ = composite
    planned = usecases.trials.plan_for(book, replace(WISH, name="Another"), now=NOW)
    assert len(planned.trial.arms) == 9 and "central composite of 2 factors: 13 brews at 9 points" in planned.plan.words
    design = planned.plan.recommended
    assert design is not None and 0.0 <= design.power.false_claims < 0.1
    assert {arm.key: n for arm, n in zip(planned.trial.arms, design.brews_of, strict=True) if n > 1} == {
        "low-low": 2,
        "centre": 4,
    }
    rounds = [plot.round for plot in design.plots]
    assert min(rounds.count(one) for one in set(rounds)) >= 6  # 7 and 6, no brew alone
    assert book.get(Trial, key).design == "central composite, randomised blocks"
    assert usecases.trials.not_written_in(book, planned) == ()  # the points are recipes of this notebook
    assert usecases.trials.arm_in_words(planned.trial.arms[1]) == "low-high (molasses 0, kelp 1)"


def test_page_command_and_json_tell_one_answer(composite, capsys, monkeypatch) -> None:
    book, key, after = composite
    app = create_app(
        book, state=open_state(None), clock=lambda: after, settings=ServeSettings(watching=False, burst=5000, per_s=5000)
    )
    app.state.thinker.advise = None
    with TestClient(app, base_url="http://localhost") as client:
        early = html.unescape(client.get(f"/trials/{key}/verdict").text)
        assert "Not judged yet" in early and "best point" not in early
        client.headers["x-aerobe-form"] = re.search(r'name="aerobe-form" content="(\w+)"', client.get("/menu").text)[1]
        page = html.unescape(client.post(f"/trials/{key}/judge", data={}, follow_redirects=True).text)
        plain = client.get(f"/api/trials/{key}/verdict").json()
    verdict = usecases.trials.verdict_of_trial(book, key, now=after, asks=False)
    assert verdict.headline.startswith("best point (kelp 0.") and " is better than low-low: " in verdict.headline
    assert verdict.headline in page and verdict.comparisons[0].because in page
    assert "low-low (molasses 0, kelp 0)" in page.replace("kelp 0, molasses 0", "molasses 0, kelp 0")
    for factor in ("kelp", "molasses"):
        assert f"Living biomass by {factor}" in page
    assert "so few brews" not in page  # a point that was chosen has no plain t interval to be shown beside
    assert plain["headline"] == verdict.headline and plain["surface"]["kind"] == "peak"
    assert dict(zip(plain["surface"]["factors"], plain["surface"]["best"], strict=True)) == pytest.approx(
        {"molasses": 1.2, "kelp": 0.4}, abs=0.2
    )
    ahead = usecases.trials.next_trial(book, key, now=after, asks=False)
    assert ahead.trial is None and "beside the standard, five or more of each" in ahead.because[0]


def test_the_package_finds_the_surface_again(composite, tmp_path) -> None:
    book, key, after = composite
    usecases.trials.open_codes(book, key, now=after)  # also where no other test has asked for a verdict
    report = usecases.reports.report_of_trial(book, key, now=after)
    assert "One brew per recipe" not in usecases.reports.report_as_html(report).decode()
    with zipfile.ZipFile(io.BytesIO(report.package)) as packed:
        packed.extractall(tmp_path)
    folder = tmp_path / "recompute"
    # statsmodels' OLS is the outside truth here; the script for R fits the same terms by lm.fit.
    found = subprocess.run([sys.executable, "recompute.py"], cwd=folder, capture_output=True, text=True, timeout=600, check=False)
    assert found.returncode == 0 and "best point against low-low" in found.stdout and ", as in the verdict" in found.stdout
    assert json.loads((folder / "verdict.json").read_text())["comparisons"][0]["method"] == "surface"
    assert "surface(brews)" in (folder / "recompute.R").read_text()
    assert "level of kelp" in (folder / "surface.csv").read_text().splitlines()[0]


def test_where_less_is_better_the_lowest_point_is_named(composite) -> None:
    book, key, after = composite
    by = usecases.trials.JudgedBy(outcome="cost per biomass")
    verdict = usecases.trials.verdict_of_trial(book, key, by=by, now=after)
    only = verdict.comparisons[0]
    assert only.effect is not None and only.effect < 0.0 and only.high is not None and only.high < 0.0
    assert verdict.surface is not None and only.signal_call == "better"
    biomass = usecases.trials.verdict_of_trial(book, key, now=after)
    assert verdict.surface.best == pytest.approx(biomass.surface.best, abs=1e-6)  # the same cost of each brew
    assert only.effect == pytest.approx(-biomass.comparisons[0].effect)


def test_asked_too_early_it_says_what_is_missing_and_a_missing_standard_is_foretold(composite) -> None:
    book, key, after = composite
    trial, results = book.get(Trial, key), usecases.trials.verdict_of_trial(book, key, now=after).results
    with pytest.raises(NotEnoughData, match="do not tell a surface"):
        judge(trial, results[:3])
    without = [result for result in results if result.arm != "low-low"]
    assert judge(trial, without).comparisons[0].second == "low-low" and len(without) == len(results) - 2


@pytest.mark.parametrize("given", [CLEAR, Circumstances(colour=1.0), Circumstances(lost=0.15)])
def test_the_promise_of_a_composite_counts_colour_losses_and_what_is_known_of_the_scatter(given) -> None:
    arms = central_composite({"molasses": (0.0, 2.0), "kelp": (0.0, 1.0)})
    trial = Trial(key="t", name="t", question="factors", arms=arms, margin_ratio=2.5)
    plots = weighted_plots(counts_of(trial, 1), 7)
    known = Scatter(brew_log_sd=0.2, test_log_sd=0.15)
    clear = surface_power(trial, plots, known, 1, simulations=400)
    found = surface_power(trial, plots, replace(known, df=4.0), 1, given=given, simulations=400)
    assert found.told <= clear.told + 1e-9 and found.assurance < found.told and clear.assurance == clear.told


def test_a_central_composite_has_the_points_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 5.3.3.6.1, face centred: 2^k corners, 2k faces and a centre (numbers from memory).
    for factors, points in ((2, 9), (3, 15), (4, 25)):
        assert len(central_composite({f"x{i}": (0.0, 2.0) for i in range(factors)})) == points
    levels = [arm.levels["x0"] for arm in central_composite({"x0": (0.0, 2.0), "x1": (1.0, 3.0)})]
    assert sorted(levels) == [0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0]
