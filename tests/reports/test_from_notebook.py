"""From the notebook to a report and back: the package finds its numbers again, people stay at home, harm is refused."""

from __future__ import annotations

import json
import math
import re
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest import approx

from aerobe import usecases
from aerobe.errors import AerobeError, ImportFault, NotEnoughData, NotFound
from aerobe.evidence import contrasts_from_table
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import Brew, SensorLog, Trial
from aerobe.reports import Report, as_html, as_pdf
from aerobe.units import signs
from tests.reports.world import NOW, invented, packed, read_by_microscope, unpacked, with_table


def test_a_second_report_is_the_same_byte_for_byte(book: Notebook, trial: Report) -> None:
    again = usecases.reports.report_of_trial(book, "kelp", now=NOW)
    assert again.package == trial.package
    assert as_html(again) == as_html(trial)
    assert as_pdf(again) == as_pdf(trial)


def test_a_stranger_finds_the_numbers_again(trial: Report) -> None:
    found = usecases.reports.check_package(trial.package, now=NOW + timedelta(days=400))
    assert [one.is_same for one in found] == [True]
    assert found[0].compared == len(trial.numbers) > 8


def test_a_changed_reading_is_noticed_by_its_hash_and_a_forged_hash_by_the_numbers(trial: Report) -> None:
    files = unpacked(trial.package)
    files["data/readings.csv"] = files["data/readings.csv"].replace(b"sample", b"sampl3", 1)
    with pytest.raises(ImportFault, match="hash differs"):
        usecases.reports.check_package(packed(files), now=NOW)

    def doubled(table: bytes) -> bytes:
        lines = table.decode().splitlines()
        place = lines[0].split(",").index("signal")
        cells = next(line for line in lines if ",kelp-1,".replace(",", ",") in line and "sample" in line).split(",")
        changed = [*cells[:place], str(9.0 * float(cells[place])), *cells[place + 1 :]]
        return "\r\n".join(",".join(changed) if line == ",".join(cells) else line for line in lines).encode() + b"\r\n"

    found = usecases.reports.check_package(with_table(trial.package, "data/readings.csv", doubled), now=NOW)
    assert not found[0].is_same
    assert "data or report were changed" in found[0].in_words()


def test_a_package_imported_on_another_notebook_gives_the_same_verdict(trial: Report, tmp_path: Path) -> None:
    with open_notebook(tmp_path / "other.notebook", at=NOW) as other:
        usecases.exchange.import_package(other, trial.package, now=NOW)
        there = usecases.reports.report_of_trial(other, "kelp", now=NOW)
    assert there.numbers == trial.numbers
    assert there.headline == trial.headline


def test_a_plain_export_holds_no_report_to_check(book: Notebook) -> None:
    with pytest.raises(ImportFault, match="no report"):
        usecases.reports.check_package(usecases.exchange.export_package(book, now=NOW), now=NOW)


@pytest.mark.slow
def test_a_brew_report_is_found_again_and_speaks_of_its_limits(book: Notebook) -> None:
    report = usecases.reports.report_of_brew(book, "kelp-1", now=NOW)
    assert usecases.reports.check_package(report.package, now=NOW)[0].is_same
    page = as_html(report)
    assert "nothing can be said about the recipe" in page
    assert "Local codes and licensed practice decide" in page
    assert re.search(r"The harvest caught \d+ % of it \(\d+ to \d+ %, 90 % interval\)", page) or "did not settle" in page
    name = "peak time [h]"
    assert report.numbers[f"{name}, 90 % from"] <= report.numbers[name] <= report.numbers[f"{name}, 90 % to"]


def test_an_assay_report_from_its_study_is_found_again() -> None:
    lines = ["role,signal,unit,what,sample,day,operator"]
    lines += [f"water blank,{value},ug C/mL,,,d1,Ann" for value in (1.0, 1.4, 0.8, 1.2, 1.1)]
    for sample, level in (("s1", 40.0), ("s2", 90.0), ("s3", 160.0)):
        repeats = ((1, 0.95), (1, 1.06), (2, 1.02))
        lines += [f"sample,{level * factor:.2f},ug C/mL,kelp tea,{sample},d{day},Bo" for day, factor in repeats]
    lines += [f"killed control,{value},ug C/mL,kelp tea,k{place},d1,Bo" for place, value in enumerate((6.0, 6.6, 5.7))]
    report = usecases.reports.report_of_assay(
        "\n".join(lines), test=usecases.reports.StudiedTest(name="Card (invented)", method="colour test"), now=NOW
    )
    assert "A single reading of" in report.headline
    assert usecases.reports.check_package(report.package, now=NOW)[0].is_same
    everything = b"".join(unpacked(report.package).values())
    assert b"Ann" not in everything and b"reader-1" in everything


# -- what the report says ---------------------------------------------------------------------------------------------------


def test_a_trial_report_shows_verdict_points_limits_plan_and_sources(trial: Report) -> None:
    page = as_html(trial)
    for words in (
        "What this trial cannot tell",
        "What was planned before, and what was not",
        "Result of every brew",
        "How colour and noise were handled",
        "Brews are compared at 20 h",
        "kelp-3",
        "SHA-256",
        "seed",
    ):
        assert words in page, words
    assert "better" in trial.headline or "tell" in trial.headline
    assert len(trial.sources) >= 3


def test_a_report_names_the_test_it_rests_on_and_can_be_judged_by_another(trial: Report, tmp_path: Path) -> None:
    alone = "The verdict rests on one test: 'Colour test (invented)' (colour test, ug C/mL)."
    assert trial.basis == alone and signs(alone).replace("'", "&#39;") in as_html(trial)
    with invented(tmp_path / "b.notebook") as book:
        read_by_microscope(book)
        usual = usecases.reports.report_of_trial(book, "kelp", now=NOW)
        assert usual.numbers == trial.numbers and usual.basis.startswith(alone)
        assert "'Stain (invented)' (direct microscopy, cells/mL)." in usual.basis
        assert "aerobe report trial kelp --assay scope" in usual.basis
        other = usecases.reports.report_of_trial(book, "kelp", now=NOW, wanted=usecases.reports.Wanted(assay="scope"))
        assert other.basis.startswith("The verdict rests on one test: 'Stain (invented)'") and "--assay card" in other.basis
        effects = [float(str(made.numbers["kelp against plain: effect"])) for made in (other, usual)]
        assert effects[0] < 0.0 < effects[1]
        # Who computes it anew judges by the same test.
        assert all(again.is_same for again in usecases.reports.check_package(other.package, now=NOW))
        with pytest.raises(NotFound):
            usecases.reports.report_of_trial(book, "kelp", now=NOW, wanted=usecases.reports.Wanted(assay="no-such-test"))


@pytest.mark.parametrize(("outcome", "says"), [("oxygen", "oxygen logs"), ("peak biomass", "'Colour test (invented)' (colour")])
def test_what_rests_on_no_single_test_says_so(book: Notebook, outcome: str, says: str) -> None:
    found = usecases.trials.rests_on(book, "kelp", outcome_key=outcome)
    assert found.assay is None and not found.others and says in found.words


def test_one_brew_per_recipe_is_stated_as_the_limit_it_is(tmp_path: Path) -> None:
    with invented(tmp_path / "one.notebook", brews=1) as book:
        report = usecases.reports.report_of_trial(book, "kelp", now=NOW)
    assert "One brew per recipe (kelp, plain): nothing can be said about the recipe." in as_html(report)
    assert "tell" in report.headline.lower()


def test_without_a_killed_control_the_report_does_not_claim_biomass(tmp_path: Path) -> None:
    with invented(tmp_path / "dark.notebook", controls=False) as book:
        report = usecases.reports.report_of_trial(book, "kelp", now=NOW)
    assert "colour may explain the difference" in report.headline
    assert report.numbers["claims"] != "living biomass"


def test_a_trial_without_brews_says_what_to_do(book: Notebook, tmp_path: Path) -> None:
    with open_notebook(tmp_path / "empty.notebook", at=NOW) as empty:
        empty.add(Trial(key="t", name="T", question="two recipes"), at=NOW)
        with pytest.raises(NotEnoughData, match="no brew yet"):
            usecases.reports.report_of_trial(empty, "t", now=NOW)
        with pytest.raises(NotFound):
            usecases.reports.report_of_trial(empty, "nothing", now=NOW)


# -- people and licence -----------------------------------------------------------------------------------------------------


def test_people_stay_at_home_unless_told_otherwise(tmp_path: Path) -> None:
    with invented(tmp_path / "b.notebook", notes="told me by C. Nobody") as book:
        quiet = usecases.reports.report_of_trial(book, "kelp", now=NOW)
        open_ = usecases.reports.report_of_trial(book, "kelp", now=NOW, wanted=usecases.reports.Wanted(with_people=True))
    everything = b"".join(unpacked(quiet.package).values()) + as_html(quiet).encode()
    assert b"Nobody" not in everything
    assert b"reader-1" in everything
    assert b"A. Nobody" in b"".join(unpacked(open_.package).values())
    assert quiet.numbers == open_.numbers


def test_names_of_probes_and_files_stay_at_home_too(tmp_path: Path) -> None:
    with invented(tmp_path / "b.notebook") as book:
        brew = next(item.key for item in book.find(Brew) if item.trial == "kelp")
        log = SensorLog(brew=brew, channel="oxygen", probe="Nobody's phone", elapsed_h=(0.0, 1.0, 2.0), values=(8.0, 7.0, 6.5))
        book.append_log(log, at=NOW)
        book.keep("taken in", brew, {"file": "nobodys-brews.csv", "sha256": "ab" * 32, "start": None}, at=NOW)
        quiet = usecases.reports.report_of_trial(book, "kelp", now=NOW)
    everything = b"".join(unpacked(quiet.package).values()) + as_html(quiet).encode()
    assert b"obody" not in everything
    assert b"probe-1" in everything and b"table-1.csv" in everything


def test_the_package_names_its_licence_and_describes_itself(trial: Report, book: Notebook) -> None:
    files = unpacked(trial.package)
    assert json.loads(files["datapackage.json"])["licenses"][0]["name"] == "CC-BY-4.0"
    graph = {item["@id"]: item for item in json.loads(files["ro-crate-metadata.json"])["@graph"]}
    assert graph["./"]["license"]["@id"].startswith("https://creativecommons.org/")
    assert {part["@id"] for part in graph["./"]["hasPart"]} <= set(files)
    with pytest.raises(NotFound, match="no licence"):
        usecases.reports.report_of_trial(book, "kelp", now=NOW, wanted=usecases.reports.Wanted(licence="do what you like"))


def test_the_package_is_a_valid_frictionless_data_package(trial: Report, tmp_path: Path) -> None:
    frictionless = pytest.importorskip("frictionless")
    for name, content in unpacked(trial.package).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    described = json.loads((tmp_path / "datapackage.json").read_text())
    tables = [item for item in described["resources"] if item["path"].endswith(".csv")]
    assert tables
    for entry in tables:
        schema = frictionless.Schema.from_descriptor(entry["schema"])
        resource = frictionless.Resource(path=entry["path"], basepath=str(tmp_path), schema=schema)
        assert resource.validate().valid, entry["path"]


# -- malicious packages -------------------------------------------------------------------------------------------------------


def test_evidence_of_others_is_weighed_with_ones_own_and_doubles_are_known(tmp_path: Path) -> None:
    with invented(tmp_path / "own.notebook", seed=1) as own, invented(tmp_path / "far.notebook", seed=2) as far:
        abroad = usecases.reports.report_of_trial(far, "kelp", now=NOW)
        first = usecases.evidence.take_evidence(own, abroad.package, "far.zip", now=NOW, site="far away")
        assert (len(first.new), first.known) == (1, 0)
        again = usecases.evidence.take_evidence(own, abroad.package, "renamed.zip", now=NOW, site="another name")
        assert (len(again.new), again.known) == (0, 1)
        posing = usecases.reports.report_of_trial(own, "kelp", now=NOW).package
        mine = usecases.evidence.take_evidence(own, posing, "mine.zip", now=NOW, site="posing as another")
        table = b"key;recipe;against;ratio;low;high;brews;brews_against\n"
        table += b"paper;kelp (invented);plain (invented);1,7;1,2;2,4;4;4\n"
        assert len(usecases.evidence.take_evidence(own, table, "papers.csv", now=NOW).new) == 1
        usecases.trials.verdict_of_trial(own, "kelp", now=NOW)
        answer = usecases.evidence.weigh_evidence(own, "kelp (invented)", "plain (invented)").weighed
        assert len(answer.contrasts) == 3  # own, far, paper: the double of one's own is left out
        assert any(double.certain for double in answer.duplicates) == bool(mine.new)
        assert answer.pooled is not None and answer.pooled.as_ratio()[0] == approx(1.8, rel=0.25)
        assert len(usecases.evidence.weigh_evidence(own, "kelp (invented)", "plain (invented)").pictures) == 2
        assert usecases.evidence.evidence_pairs(own)[0][2:] == ("biomass", 4 if mine.new else 3)
        assert usecases.evidence.weigh_evidence(own, "kelp", "plain").weighed == answer  # by the keys of this notebook
        pooled = usecases.evidence.pool_all_brews(own, reference="plain")
        assert pooled.reference == "plain (invented)"
        assert (pooled.brews, pooled.trials) == (12, 2)
        assert pooled.recipes[0].effect.low < math.log(1.8) < pooled.recipes[0].effect.high
        with pytest.raises(NotFound, match="No trial is about"):
            usecases.evidence.weigh_evidence(own, "bran", "plain (invented)")


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (b"", "empty"),
        (b"key,recipe\n1,2\n", "Missing columns"),
        (b"key,recipe,against,wizardry\n1,2,3,4\n", "Unknown columns"),
        (b"key,recipe,against,ratio,low,high\na,x,y,1.2,1.5,2\n", "Line 2"),
        (b"key,recipe,against,ratio,low,high\na,x,y,1.2,0,2\n", "Line 2"),
        (b"key,recipe,against,ratio,low,high\na,x,x,1.2,1,2\n", "with itself"),
        (b"key,recipe,against,ratio,low,high\na,x,y,1e999,1,2\n", "Line 2"),
        (b"key,recipe,against,mean,sd,brews,mean_against,sd_against,brews_against\na,x,y,10,1,1,5,1,4\n", "One brew"),
        (b"\xff\xfe\x00\x01", "neither a data package nor a text table"),
    ],
)
def test_tables_of_contrasts_that_cannot_be_used_say_why(tmp_path: Path, table: bytes, words: str) -> None:
    with open_notebook(tmp_path / "t.notebook", at=NOW) as book, pytest.raises(ImportFault, match=words) as caught:
        usecases.evidence.take_evidence(book, table, "t.csv", now=NOW)
    assert caught.value.remedy


def test_a_trial_report_shows_the_trials_of_others_and_they_travel_with_it(tmp_path: Path) -> None:
    with invented(tmp_path / "own.notebook", seed=1) as own, invented(tmp_path / "far.notebook", seed=2) as far:
        abroad = usecases.reports.report_of_trial(far, "kelp", now=NOW).package
        usecases.evidence.take_evidence(own, abroad, "far.zip", now=NOW, site="A. Nobody's garden")
        report = usecases.reports.report_of_trial(own, "kelp", now=NOW)
    page = as_html(report)
    assert "With the trials of others" in page and "2 trials: kelp (invented) gives" in page
    assert "Nobody" not in page and "place 1" in page
    name = "pool kelp (invented) against plain (invented)"
    assert report.numbers[f"{name}: low"] < report.numbers[f"{name}: estimate"] < report.numbers[f"{name}: high"]
    assert usecases.reports.check_package(report.package, now=NOW)[0].is_same


PIECES = [
    "key,recipe,against,ratio,low,high\n",
    "key",
    "recipe",
    "ratio",
    "1e999",
    "-",
    ",",
    ";",
    "\n",
    "=1",
    "nan",
    "\x00",
    "against",
    "low",
    "high",
    "1,2",
    "a",
    "b",
    "2",
    '"',
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=300) | st.lists(st.sampled_from(PIECES), max_size=60).map("".join))
def test_any_text_as_a_table_is_taken_or_refused_with_a_remedy(text: str) -> None:
    try:
        found = contrasts_from_table(text)
    except AerobeError as fault:
        assert fault.remedy
    else:
        assert all(math.isfinite(item.effect) and item.variance > 0.0 for item in found)


# -- data that came in from a table -------------------------------------------------------------------------------------------
