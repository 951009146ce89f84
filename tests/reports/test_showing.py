"""Pictures to show: a headline that never says more than its verdict, nothing cut off, marks that stay, one that moves."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest

from aerobe.charts import SIZES, Poster, on_one_scale, poster_png, poster_svg
from aerobe.records import Arm, Trial
from aerobe.reports import Imprint, TrialRecords, poster_of, trial_report
from aerobe.verdicts import BrewResult, Standing, Verdict, judge, short_headline
from tests.reports.test_pages import a_report

CANNOT = "can't tell yet"
CALLS = ("better", "worse", "higher", "lower", "same within the margin")
NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


def drawn_verdict(seed: int) -> tuple[Trial, Verdict]:
    """A verdict of a trial drawn by a seed: arms, brews, effects, scatter and confounders of every kind."""
    rng = np.random.default_rng(seed)
    arms = tuple(Arm(key=f"mix{i}", recipe=f"mix{i}", is_standard=i == 0) for i in range(int(rng.integers(2, 5))))
    trial = Trial(key="t", name="Which mix?", question="two recipes", arms=arms, margin_ratio=float(rng.choice([1.1, 1.25, 2.0])))
    spread, effect = float(rng.choice([0.02, 0.1, 0.4])), float(rng.choice([0.0, 0.05, 0.3, 1.0]))
    tied = rng.random() < 0.25
    results = [
        BrewResult(
            brew=f"{arm.key}-{nth}",
            arm=arm.key,
            value=float(100.0 * np.exp(effect * place * rng.choice([-1, 1]) * 0.5 + spread * rng.standard_normal())),
            confounders={"kit lot": arm.key if tied else "a"},
        )
        for place, arm in enumerate(arms)
        for nth in range(int(rng.integers(1, 7)))
    ]
    return trial, judge(trial, results, standing=Standing(looks=int(rng.integers(1, 3))), extent="without check")


EVERY_DAY, AT_NIGHT = 60, 200  # verdicts


@cache
def verdicts() -> list[tuple[Trial, Verdict]]:
    """Those of every day."""
    return [drawn_verdict(seed) for seed in range(EVERY_DAY)]


def false_headlines(found: list[tuple[Trial, Verdict]]) -> list[list[str]]:
    """What their headlines claim too much."""
    told = (claims_more(short_headline(verdict.comparisons, verdict.headline), verdict) for _, verdict in found)
    return [item for item in told if item]


def claims_more(headline: str, verdict: Verdict) -> list[str]:
    """What a headline claims that its verdict does not: read anew from the words, not with the code that wrote them."""
    told = [item for item in verdict.comparisons if item.call != CANNOT]
    found = [f"says {call}" for call in CALLS if re.search(rf"\b{call}\b", headline) and call not in {c.call for c in told}]
    if not told and not headline.startswith("Can't tell"):
        found.append("tells what cannot be told")
    for item in verdict.comparisons:
        named = re.search(rf"{item.first} is (better|worse|higher|lower) than {item.second}\b", headline)
        if named and item.call != named[1]:
            found.append(f"{item.label}: {named[1]}")
    for count, call in re.findall(r"(\d+) (better|worse|higher|lower|the same)", headline):
        if headline.startswith("Of ") and sum(c.call.startswith(call.removeprefix("the ")) for c in told) != int(count):
            found.append(f"counts {count} {call}")
    for low, high in re.findall(r"\(([\d.]+) to ([\d.]+)\) times", headline):
        spans = [(float(np.exp(c.low)), float(np.exp(c.high))) for c in told if c.low is not None and c.high is not None]
        if not any(abs(float(low) / a - 1) < 0.06 and abs(float(high) / b - 1) < 0.06 for a, b in spans):
            found.append(f"interval {low} to {high}")
    left = len(verdict.comparisons) - len(told)
    if told and left and "not told yet" not in headline:
        found.append("is silent on what is not told")
    return found


def test_no_headline_claims_more_than_its_verdict() -> None:
    assert false_headlines(verdicts()) == []


@pytest.mark.night
def test_no_headline_of_many_claims_more_than_its_verdict() -> None:
    assert false_headlines([drawn_verdict(seed) for seed in range(EVERY_DAY, AT_NIGHT)]) == []


def test_the_verdicts_are_of_every_kind_and_a_false_headline_is_noticed() -> None:
    calls = {item.call for _, verdict in verdicts() for item in verdict.comparisons}
    assert {"better", "worse", "same within the margin", CANNOT} <= calls
    assert any(item.held_by for _, verdict in verdicts() for item in verdict.comparisons)
    lengths = [len(short_headline(verdict.comparisons, verdict.headline)) for _, verdict in verdicts()]
    assert max(lengths) <= 150 and any(len(verdict.headline) > 150 for _, verdict in verdicts())
    dull = next(verdict for _, verdict in verdicts() if all(item.call == CANNOT for item in verdict.comparisons))
    assert claims_more("mix1 is better than mix0: 1.8 (1.2 to 2.7) times.", dull)
    clear = next(verdict for _, verdict in verdicts() if verdict.comparisons[0].call == "better")
    assert claims_more(clear.headline.replace("better", "worse"), clear)


def texts(svg: str) -> str:
    return " ".join("".join(node.itertext()) for node in ElementTree.fromstring(svg).iter() if node.tag.endswith("text"))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("look", ["light", "dark"])
def test_a_picture_holds_all_it_should_and_nothing_runs_out_of_it(size: str, look: str) -> None:
    trial, verdict = next(item for item in verdicts() if item[1].comparisons[0].call == "better")
    kept = TrialRecords(trial=trial, run_sheet=None, brews=(), recipes=(), readings=(), assays={}, starts={})
    report = trial_report(kept, verdict, Imprint(made_at=NOW, versions={"aerobe": "0.1.0"}, cautions=(), invented=True))
    poster = poster_of(report)
    svg = poster_svg(poster, size, look)  # type: ignore[arg-type]
    said = texts(svg)
    assert short_headline(verdict.comparisons, verdict.headline) in re.sub(r"\s+", " ", said.replace("\n", " ")) or all(
        word in said for word in poster.headline.split()
    )
    assert f"{verdict.brews} brews" in said and "2026-05-01" in said and "INVENTED DATA" in said and "t-data.zip" in said
    assert "90 % intervals" in said
    wide, high = SIZES[size]
    for node in ElementTree.fromstring(svg):
        for place in (node, *node):
            assert 0.0 <= float(place.get("x", 0)) <= wide and 0.0 <= float(place.get("y", 0)) <= high
    assert svg == poster_svg(poster, size, look)  # type: ignore[arg-type]
    png = poster_png(poster, size, look, scale=0.25)  # type: ignore[arg-type]
    assert png[:8] == b"\x89PNG\r\n\x1a\n" and int.from_bytes(png[16:20]) == wide // 4


def test_a_long_headline_and_a_stranger_text_are_whole_and_no_markup() -> None:
    evil = "<script>alert(1)</script> & " + "words " * 60
    poster = replace(poster_of(a_report()), headline=evil, question=evil, mark="practice")
    svg = poster_svg(poster, "tall")
    assert "<script" not in svg and texts(svg).count("words") >= 60 and "PRACTICE" in texts(svg)


def test_one_that_moves_is_small_shows_every_turn_and_rests_for_who_wants_no_motion() -> None:
    report = a_report()
    first = poster_of(report).pictures[0]
    wider = replace(first, plot=replace(first.plot, y=replace(first.plot.y, high=500.0)))
    turns = on_one_scale([first, wider, first])
    assert {item.plot.y.high for item in turns} == {500.0}
    poster: Poster = poster_of(report, moving=turns)
    moving = poster_svg(poster, "square", is_moving=True)
    assert len(moving.encode()) < 2_000_000 and moving.count('class="turn') == 3
    assert "prefers-reduced-motion" in moving and ".turn2{opacity:1}" in moving
    ElementTree.fromstring(moving)
    assert 'class="turn' not in poster_svg(poster, "square")
