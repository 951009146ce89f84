"""One place under two names, trials that may carry nothing, and the interval beside a pool that may have been filtered."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.evidence import TrialContrast, carries_a_headline, notes_of, selection, site_means, sites_of, weigh
from aerobe.evidence._sites import folded, near_names
from benchmarks.how_honest_is_a_pool import kinds
from tests.evidence.test_headline import trial


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("North Garden", "north  garden"),
        ("North-Garden", "north garden."),
        ("Gärtnerei Süd", "gartnerei sud"),
        ("Ｎorth", "north"),
    ],
)
def test_a_place_spelled_two_ways_has_one_voice(one: str, other: str) -> None:
    found = site_means([trial("a", 0.3, site=one), trial("b", 0.4, site=other), trial("c", 0.1, site="hill")])
    assert len(found.names) == 2


def test_places_of_one_notebook_are_one_whatever_they_are_called() -> None:
    items = [
        trial("a", 0.9, site="shed", origin="n1"),
        trial("b", 0.8, site="barn", origin="n1"),
        trial("c", 0.7, site="barn"),
        trial("d", 0.9, site="hill", origin="n2"),
        trial("e", 0.9, site=""),
    ]
    assert len(set(sites_of(items))) == 3 and sites_of(items)[0] == sites_of(items)[2]
    # the link may come last: two places turn out to be one
    late = [trial("a", 0.9, site="shed"), trial("b", 0.8, site="barn"), trial("c", 0.7, site="shed", origin="x")]
    late.append(trial("d", 0.7, site="barn", origin="x"))
    assert len(set(sites_of(late))) == 1
    sent = [trial(f"t{i}", 0.8 + 0.1 * i, 0.01 + 0.004 * i, site=f"garden {i}", origin="same") for i in range(4)]
    found = weigh(sent, "kelp", "plain")
    assert found.answer == "cannot tell" and "one place" in found.says
    assert weigh([replace(item, origin=f"n{i}") for i, item in enumerate(sent)], "kelp", "plain").answer == "better"


def test_names_that_differ_by_a_slip_are_asked_about_and_carry_no_claim_as_two() -> None:
    def pair(one: str, other: str) -> int:
        return len(near_names([trial("a", 0.3, site=one), trial("b", 0.3, site=other)]))

    assert pair("north garden", "noth garden") == pair("riverside", "riversdie") == pair("garden north", "north garden") == 1
    assert pair("garden a", "garden b") == pair("place 1", "place 2") == pair("hill", "mill") == pair("river", "coast") == 0
    assert folded("  Ünder-the Hill ") == "under the hill"
    sent = [trial("a", 0.8, 0.01, site="riverside"), trial("b", 0.95, 0.016, site="riversde")]
    sent.append(trial("c", 0.86, 0.02, site="riverside", planned=True))
    found = weigh(sent, "kelp", "plain")
    assert found.answer == "cannot tell" and ("slip of the pen" in found.says or "slip of the pen" in " ".join(notes_of(found)))


def test_a_huge_number_of_brews_makes_no_forged_error_credible() -> None:
    # by hand: an error of 0.003 over 60 brews each means that brews differ by 0.003 / sqrt(2/60) = 1.6 %
    forged = replace(trial("f", 0.4, 0.003**2), brews=1_000_000, brews_against=1_000_000)
    assert not carries_a_headline(forged)
    assert carries_a_headline(replace(trial("h", 0.4, 0.3**2 * 2 / 40), brews=40, brews_against=40))


@pytest.mark.parametrize(
    "name", ["5 places, no difference, others seen 0, spread 0.2", "5 places, true ratio 1.5, others seen 0.2"]
)
def test_the_interval_that_allows_for_what_was_not_sent_holds_the_truth(name: str) -> None:
    # the pool's own interval holds it in 0 % and 60 to 70 % of such pools (benchmarks/how_honest_is_a_pool.py)
    made, truth = kinds()[name]
    rng = np.random.default_rng(46)
    held = 0
    for _ in range(30):
        places = site_means(made(rng))
        found = selection(places.effects, places.variances, places.bars)
        held += found.low <= truth <= found.high
    assert held >= 24


def test_that_interval_turns_with_the_ratio_and_is_told_beside_a_claim() -> None:
    items: list[TrialContrast] = [trial(f"t{i}", 0.8 + 0.1 * i, 0.01 + 0.004 * i) for i in range(4)]
    places = site_means(items)
    there = selection(places.effects, places.variances, places.bars)
    back = selection(-places.effects, places.variances, places.bars)
    assert (back.low, back.high) == approx((-there.high, -there.low))
    assert there.low <= there.estimate <= there.high
    found = weigh(items, "kelp", "plain")
    assert found.answer == "better" and "never sent in" in found.says
    assert math.exp(there.estimate) == approx(math.exp(found.missing.estimate)) if found.missing else False
