"""A trial that others join: three invented sites follow one plan with codes of their own and are pooled by site."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from aerobe import usecases
from aerobe.errors import ImportFault, NotFound, UnusableRecord
from aerobe.records import AirSupply, Assay, AssayError, Compost, FoodDose, Reading, Recipe, RunSheet, Trial, Vessel
from aerobe.usecases.exchange import (
    OwnSite,
    join_trial,
    protocol_as_file,
    protocol_as_page,
    protocol_of_trial,
    read_protocol,
    take_site,
)
from tests.plans import keep_plans
from tests.reports.world import EVIL

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=timezone(timedelta(hours=2)))
WISH = usecases.trials.TrialWish(
    name="Kelp or plain",
    arms="plain, kelp",
    scatter="0.3",
    money="600",
    margin="2",
    vessels="2",
    vessel_names="north, tub",
    days="40",
    seed="1",
)


def shed(path: Path, heap: str) -> Any:
    book = usecases.notebook.open_notebook(path, at=NOW)
    book.add(Compost(key=heap, name=f"Heap {heap} (invented)"), at=NOW)
    for key in ("north", "tub"):
        book.add(Vessel(key=key, name=key, volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)), at=NOW)
    error = AssayError(constant_sd=0.3, proportional_cv=0.05, origin="certificate")
    book.add(Assay(key="card", name="Home colour test", method="colour test", error=error), at=NOW)
    return book


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    keep_plans(monkeypatch)
    book = shed(tmp_path / "home.notebook", "leaf")
    book.add(Recipe(key="plain", name="Plain", compost="leaf", compost_g_per_l=30.0, notes="secret of the house"), at=NOW)
    kelp = (FoodDose(food="kelp-powder", g_per_l=1.0),)
    book.add(Recipe(key="kelp", name="Kelp", compost="leaf", compost_g_per_l=30.0, foods=kelp), at=NOW)
    yield book
    book.close()


def run_it(book: Any, key: str, *, times: float, seed: int, arms: tuple[str, ...] = ("plain", "kelp")) -> None:
    """Every brew of the sheet whose arm is made, with its readings."""
    rng = np.random.default_rng(seed)
    for planned in usecases.trials.trial_view(book, key).waiting:
        if planned.arm not in arms:
            continue
        usecases.trials.start_planned_brew(book, key, planned.blind_code, now=planned.starts_at or NOW)
        value = 100.0 * (times if planned.arm == "kelp" else 1.0) * float(np.exp(0.1 * rng.standard_normal()))
        for sample in planned.samples:
            for place, role in enumerate(["sample"] * sample.tests + list(sample.controls)):
                signal = round(value + 4.0 if role == "sample" else 4.0, 1)
                book.add(
                    Reading(
                        key=f"{planned.brew}-{place}",
                        brew=planned.brew,
                        assay="card",
                        role=role,
                        elapsed_h=sample.elapsed_h,
                        signal=signal,
                        unit="ug C/mL",
                        typed_as=str(signal),
                    ),
                    at=NOW,
                )


def package_of(book: Any, key: str) -> bytes:
    usecases.trials.open_codes(book, key, now=NOW)
    return usecases.reports.report_of_trial(book, key, now=NOW + timedelta(days=60)).package


def test_three_sites_run_one_plan_and_are_pooled_by_site(home: Any, tmp_path: Path) -> None:
    key = usecases.trials.start_trial(home, WISH, now=NOW)
    plan = protocol_of_trial(home, key, now=NOW)
    content = protocol_as_file(plan)
    assert b"secret" not in content and b"leaf" not in content and read_protocol(content) == plan
    run_it(home, key, times=2.8, seed=1)
    sheets = [home.find(RunSheet)[0]]
    for number, (site, times) in enumerate((("river", 3.0), ("hill", 2.6), ("coast", 3.2)), start=2):
        with shed(tmp_path / f"{site}.notebook", f"heap-{site}") as book:
            theirs = join_trial(
                book, read_protocol(content), OwnSite(compost=f"heap-{site}", seed=number, vessels=("north", "tub")), now=NOW
            )
            assert protocol_of_trial(book, theirs, now=NOW).fingerprint == plan.fingerprint  # it can be handed on
            sheets.append(book.find(RunSheet)[0])
            run_it(book, theirs, times=times, seed=number)
            packed = package_of(book, theirs)
        found = take_site(home, key, packed, f"{site}.zip", site=site, now=NOW + timedelta(days=60))
        assert len(found.taken.new) == 1 and found.says == () and found.taken.silent == ()
        again = take_site(home, key, packed, f"{site}.zip", site=site, now=NOW + timedelta(days=60))
        assert again.taken.new == () and again.taken.known == 1
    codes = [tuple(item.blind_code for item in sheet.brews) for sheet in sheets]
    assert len(set(codes)) == 4 and len({sheet.seed for sheet in sheets}) == 4
    orders = [sorted(item.arm for item in sheet.brews) for sheet in sheets]
    assert all(order == orders[0] for order in orders)
    usecases.trials.open_codes(home, key, now=NOW)
    usecases.trials.verdict_of_trial(home, key, now=NOW + timedelta(days=60))
    weighed = usecases.evidence.weigh_evidence(home, "kelp", "plain").weighed
    assert set(weighed.sites) == {"own notebook", "river", "hill", "coast"} and weighed.pooled is not None
    ratio, low, high = weighed.pooled.as_ratio()
    # The true ratio of the four places is their geometric mean, 2.89.
    assert low < 2.89 < high and abs(ratio / 2.89 - 1.0) < 0.15
    assert len({item.site for item in weighed.contrasts}) == 4


def test_what_is_foreign_of_another_version_or_changed_is_refused_with_a_word(home: Any) -> None:
    key = usecases.trials.start_trial(home, WISH, now=NOW)
    content = protocol_as_file(protocol_of_trial(home, key, now=NOW))
    plain = json.loads(content)

    def refused(match: str, **changed: Any) -> None:
        with pytest.raises(ImportFault, match=match):
            read_protocol(json.dumps({**plain, **changed}).encode())

    refused("no protocol", format="something else")
    refused("version 2", version=2)
    refused("version None", version=None)
    refused("changed after it was written", protocol={**plain["protocol"], "margin_ratio": 9.0})
    refused("fewer than two arms", protocol={**plain["protocol"], "arms": plain["protocol"]["arms"][:1]})
    refused("recipe of arm kelp is missing", protocol={**plain["protocol"], "recipes": plain["protocol"]["recipes"][:1]})
    only = [item for item in plain["protocol"]["places"] if item["arm"] == 0]
    refused("arm kelp has no brew", protocol={**plain["protocol"], "places": only})
    refused("cannot be followed", protocol={**plain["protocol"], "arms": "kelp"})
    for strange in (b"", b"PK\x03\x04", b"\xff\xfe", b"[1, 2]", b'"x"', b"[" * 100_000, content + b" " * 1_000_001):
        with pytest.raises(ImportFault, match="no protocol"):
            read_protocol(strange)


def test_joining_needs_an_own_compost_and_enough_vessels_and_writes_nothing_without(home: Any, tmp_path: Path) -> None:
    plan = protocol_of_trial(home, usecases.trials.start_trial(home, WISH, now=NOW), now=NOW)
    with shed(tmp_path / "b.notebook", "heap") as book:
        with pytest.raises(NotFound, match="no compost"):
            join_trial(book, plan, OwnSite(compost="leaf", seed=2), now=NOW)
        with pytest.raises(UnusableRecord, match="vessels"):
            join_trial(book, plan, OwnSite(compost="heap", seed=2, vessels=("north",)), now=NOW)
        assert book.find(Trial) == [] and book.find(Recipe) == []
        book.add(Recipe(key="kelp", name="Kelp", compost="heap", compost_g_per_l=99.0), at=NOW)
        key = join_trial(book, plan, OwnSite(compost="heap", seed=2), now=NOW)
        # A recipe of one's own with that name stays as it is.
        assert book.get(Recipe, "kelp").compost_g_per_l == 99.0
        assert {book.get(Recipe, arm.recipe).compost_g_per_l for arm in book.get(Trial, key).arms} == {30.0}


def test_packages_of_no_plan_another_plan_and_a_missing_arm(home: Any, tmp_path: Path) -> None:
    key = usecases.trials.start_trial(home, WISH, now=NOW)
    plan = protocol_of_trial(home, key, now=NOW)
    with pytest.raises(NotFound, match="No protocol"):
        take_site(home, "other", b"PK", "x.zip", site="river", now=NOW)
    for content, match in ((b"elapsed,value\n1,2\n", "no data package"), (b"PK\x05\x06", ".")):
        with pytest.raises(ImportFault, match=match):
            take_site(home, key, content, "x.zip", site="river", now=NOW)
    with shed(tmp_path / "b.notebook", "heap") as book:
        other = replace(plan, name="Another", margin_ratio=1.5)
        theirs = join_trial(book, other, OwnSite(compost="heap", seed=2, vessels=("north", "tub")), now=NOW)
        run_it(book, theirs, times=2.0, seed=3)
        with pytest.raises(ImportFault, match=r"another protocol \(Another\)"):
            take_site(home, key, package_of(book, theirs), "x.zip", site="river", now=NOW)
    with shed(tmp_path / "c.notebook", "heap") as book:
        theirs = join_trial(book, plan, OwnSite(compost="heap", seed=4, vessels=("north", "tub")), now=NOW)
        run_it(book, theirs, times=2.0, seed=3, arms=("plain",))
        usecases.trials.open_codes(book, theirs, now=NOW)
        packed = usecases.exchange.export_package(book, now=NOW, trial=theirs)
        found = take_site(home, key, packed, "x.zip", site="hill", now=NOW)
        assert "Arm kelp has no result" in found.says[0] and found.taken.new == () and found.taken.silent
    assert usecases.evidence.kept_evidence(home) == ()
    with shed(tmp_path / "d.notebook", "heap") as book:
        packed = usecases.exchange.export_package(book, now=NOW)
        with pytest.raises(ImportFault, match="follows no protocol"):
            take_site(home, key, packed, "x.zip", site="hill", now=NOW)


def test_the_page_holds_the_plan_its_file_and_no_markup_of_strangers(home: Any) -> None:
    plan = replace(protocol_of_trial(home, usecases.trials.start_trial(home, WISH, now=NOW), now=NOW), name=EVIL)
    page = protocol_as_page(plan).decode()
    assert (
        "<script" not in page
        and "Before anyone uses the tea" in page
        and "Local codes" in page
        and "1 g/L kelp-powder" in page
        and "base64," in page
    )
    assert len(page) < 150_000
