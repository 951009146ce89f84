"""A page for each finding: small, whole without scripts or a connection, marked, citable; pooled answers by question."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import yaml

from aerobe import usecases
from aerobe.errors import UnusableRecord
from aerobe.evidence import TrialContrast, Weighed, pool_in_passing, weigh
from aerobe.reports import FindingPage, authors_of, finding_of_pool, finding_of_report, poster_of_pool, site
from aerobe.usecases.evidence._with_others import numbered_places
from aerobe.usecases.reports import Wanted
from aerobe.usecases.reports._site import pooled_findings
from tests.reports.test_pages import a_report, tags_of
from tests.reports.test_showing import texts
from tests.reports.world import EVIL, NOW, invented

SMALL = 150_000  # bytes that a page may have
MADE = datetime(2026, 5, 1, tzinfo=UTC)
SMALL_PAGE = {"index.html", "card.png", "CITATION.cff", "datacite.json", "deposit.json", "report.html", "report.pdf"}


def a_pool(seed: int, *, recipe: str = "kelp", against: str = "plain") -> Weighed:
    """What trials drawn by a seed say together: sizes, effects, scatter, places and making of every kind."""
    rng = np.random.default_rng([seed, 31])
    effect, count = float(rng.choice([0.0, 0.05, 0.3, 0.9, -0.6])), int(rng.integers(2, 9))
    good = bool(rng.random() < 0.7)
    spread, places = float(rng.choice([0.0, 0.1, 0.5]) if seed % 3 else 0.0), int(rng.integers(1, count + 1))
    trials = []
    for nth in range(count):
        variance = float(rng.uniform(0.002, 0.12 if seed % 3 else 0.01))
        trials.append(
            TrialContrast(
                key=f"t{nth}",
                recipe=recipe,
                against=against,
                effect=float(effect + spread * rng.standard_normal() + np.sqrt(variance) * rng.standard_normal()),
                variance=variance,
                site=f"place {nth % places}" if rng.random() < 0.8 else "",
                brews=4,
                brews_against=4,
                df=6.0,
                planned=good,
                blinded=good,
                randomised=good,
                killed_control=good or bool(rng.random() < 0.3),
            )
        )
    return weigh(trials, recipe, against, margin_ratio=float(rng.choice([1.25, 2.0])))


EVERY_DAY, AT_NIGHT = 60, 200  # pools


@cache
def pools() -> list[Weighed]:
    """Those of every day."""
    return [a_pool(seed) for seed in range(EVERY_DAY)]


def false_headlines(found: list[Weighed]) -> list[list[str]]:
    """What their headlines claim too much."""
    return [told for weighed in found if (told := claims_more(pool_in_passing(weighed), weighed))]


def claims_more(headline: str, weighed: Weighed) -> list[str]:
    """What a headline claims that the pool does not: read anew from the words, not with the code that wrote them."""
    found = []
    claims = {"more": "better", "less": "worse"}
    named = re.search(r"^kelp gives (more|less) than plain\b", headline)
    same = "about the same" in headline
    if named and claims[named[1]] != weighed.answer:
        found.append(f"says {named[1]}, the pool {weighed.answer}")
    if same and weighed.answer != "about the same":
        found.append("says the same")
    if weighed.answer == "cannot tell" and not headline.startswith("Can't tell"):
        found.append("tells what cannot be told")
    if weighed.held_back and (named or same):
        found.append("claims what is held back")
    for low, high in re.findall(r"\(([\d.]+) to ([\d.]+)\) times", headline):
        pooled = weighed.pooled
        if pooled is None or abs(float(low) / np.exp(pooled.low) - 1) > 0.06 or abs(float(high) / np.exp(pooled.high) - 1) > 0.06:
            found.append("another interval")
    if (named or same) and " to " not in headline:
        found.append("claims without an interval")
    return found


@pytest.mark.night
def test_no_headline_of_many_claims_more_than_its_pool() -> None:
    assert false_headlines([a_pool(seed) for seed in range(EVERY_DAY, AT_NIGHT)]) == []


def test_no_headline_claims_more_than_its_pool() -> None:
    assert false_headlines(pools()) == []
    answers = [weighed.answer for weighed in pools()]
    assert {*answers} == {"better", "worse", "about the same", "cannot tell"}
    assert any(weighed.held_back for weighed in pools()) and any(weighed.pooled is None for weighed in pools())
    dull = next(weighed for weighed in pools() if weighed.answer == "cannot tell" and weighed.pooled is not None)
    assert claims_more("kelp gives more than plain: 1.8 (1.2 to 2.7) times.", dull)
    clear = next(weighed for weighed in pools() if weighed.answer == "better")
    assert claims_more(pool_in_passing(clear).replace("more", "less"), clear) and claims_more(
        "kelp gives more than plain.", clear
    )


def the_finding(weighed: Weighed, **more: object) -> FindingPage:
    made: dict[str, object] = {"notes": (), "made_at": MADE, "licence": "CC-BY-4.0", "version": "0.1.0", "invented": True, **more}
    return finding_of_pool("pool-kelp-plain", weighed, **made)  # type: ignore[arg-type]


def test_the_poster_of_a_pool_has_its_answer_its_size_and_its_mark() -> None:
    from aerobe.charts import poster_svg

    for weighed in pools()[:12]:
        poster = poster_of_pool(weighed, made_at=MADE, source="here", invented=True)
        assert claims_more(poster.headline, weighed) == []
        said = texts(poster_svg(poster, "square"))
        assert "INVENTED DATA" in said and f"{len(weighed.contrasts)} trials" in said and "2026-05-01" in said


def test_a_page_is_small_and_whole_without_a_script_or_a_connection() -> None:
    findings = [finding_of_report("tank-2", a_report(EVIL)), the_finding(pools()[0])]
    files = site(
        findings, title="Trials", about=EVIL, made_at=MADE, authors=("Brewer, Ann", "River shed"), address="https://a.example/tea"
    )
    assert {name.partition("/")[2] for name in files if name.startswith("brew-tank-2/")} == {*SMALL_PAGE, "data-package.zip"}
    for name in ("brew-tank-2/index.html", "pool-kelp-plain/index.html", "index.html"):
        page = files[name].decode()
        assert len(files[name]) < SMALL
        found = tags_of(page)
        folder = name.rpartition("/")[0]
        for link in found.links:
            there = (Path(folder) / link).as_posix()
            assert link.startswith(("data:", "https://a.example/tea/")) or re.sub(r"[^/]+/\.\./", "", there) in files, link
        assert not {"iframe", "object", "embed", "form", "base"} & set(found.tags) and found.pictures_without_words == 0
        # The one element named script is a description of the data, which no browser runs.
        assert page.count("<script") == page.count('<script type="application/ld+json">') == (name != "index.html")
        assert "<script>" not in page and "default-src 'none'" in page and ">49<" not in page
        assert "Invented data" in page or "invented data" in page


def test_the_card_and_the_description_of_a_page_say_what_the_page_says() -> None:
    one = the_finding(pools()[0])
    for address in ("", "https://a.example/tea/"):
        files = site([one], title="T", about="", made_at=MADE, authors=("Brewer, Ann",), address=address)
        page = files["pool-kelp-plain/index.html"].decode()
        told = dict(re.findall(r'<meta property="(og:[a-z:]+)" content="([^"]*)">', page))
        assert told["og:image"] == (f"{address}pool-kelp-plain/card.png" if address else "card.png")
        assert ("og:url" in told) == bool(address) and told["og:image:width"] == told["og:image:height"] == "1080"
        assert "Invented data." in told["og:description"]
        png = files["pool-kelp-plain/card.png"]
        assert (int.from_bytes(png[16:20]), int.from_bytes(png[20:24])) == (1080, 1080)
        described = json.loads(re.search(r'ld\+json">(.*?)</script>', page, re.S)[1])  # type: ignore[index]
        # What schema.org and its readers ask of a Dataset: name, a description of 50 letters or more, a licence by address.
        assert described["@type"] == "Dataset" and described["name"] == one.question and len(described["description"]) >= 50
        assert described["license"].startswith("https://creativecommons.org/") and described["creator"][0]["@type"] == "Person"
        assert described["distribution"][0]["contentUrl"].endswith("pool-kelp-plain-data.zip")


@pytest.mark.parametrize("authors", [(), ("Brewer, Ann", "River shed"), ('He said: "tea" # no\nkey: evil',)])
def test_files_for_citing_and_keeping_have_what_their_standards_ask(authors: tuple[str, ...]) -> None:
    files = site([finding_of_report("tank-2", a_report(EVIL))], title="T", about="", made_at=MADE, authors=authors)
    cff = yaml.safe_load(files["brew-tank-2/CITATION.cff"])
    # Citation File Format 1.2.0: these four are needed; an author is an entity with a name or a person with names.
    assert {"cff-version", "message", "title", "authors"} <= set(cff) and cff["type"] == "dataset" and "key" not in cff
    assert len(cff["authors"]) == max(1, len(authors))
    assert all(set(item) in ({"name"}, {"family-names", "given-names"}) for item in cff["authors"])
    told = json.loads(files["brew-tank-2/datacite.json"])
    # DataCite 4.5: mandatory are identifier (the repository's), creators, titles, publisher, publicationYear, types.
    assert {"creators", "titles", "publisher", "publicationYear", "types", "schemaVersion"} <= set(told)
    assert told["types"]["resourceTypeGeneral"] == "Dataset" and told["rightsList"][0]["rightsIdentifier"] == "CC-BY-4.0"
    assert told["creators"][0]["name"] == (authors[0] if authors else ":unkn") and len(told["creators"]) == max(1, len(authors))
    record = json.loads(files["brew-tank-2/deposit.json"])
    # InvenioRDM: resource type, creators, title and publication date are needed.
    assert {"resource_type", "creators", "title", "publication_date"} <= set(record["metadata"])
    for item in record["metadata"]["creators"]:
        assert item["person_or_org"]["type"] in ("personal", "organizational")


def test_names_of_authors_are_read_from_a_line() -> None:
    assert authors_of(" Brewer,  Ann ; ;River shed") == ("Brewer, Ann", "River shed") and authors_of("") == ()


def unpacked(one: FindingPage, folder: Path) -> Path:
    with zipfile.ZipFile(io.BytesIO(one.package)) as packed:
        packed.extractall(folder)
    return folder / "recompute" / "recompute_pool.py"


def test_a_stranger_finds_the_pooled_ratio_again_with_python_alone(tmp_path: Path) -> None:
    chosen = [weighed for weighed in pools() if weighed.pooled is not None][:6]
    for nth, weighed in enumerate(chosen):
        script = unpacked(the_finding(weighed), tmp_path / str(nth))
        ran = subprocess.run([sys.executable, "-I", str(script)], capture_output=True, text=True, timeout=600, check=False)
        assert ran.returncode == 0 and "DIFFERENT" not in ran.stdout, ran.stdout + ran.stderr
    places = tmp_path / "0" / "recompute" / "places.csv"
    rows = list(csv.reader(places.open(encoding="utf-8")))
    rows[1][1] = repr(float(rows[1][1]) + 0.5)
    places.write_text("\n".join(",".join(row) for row in rows), encoding="utf-8")
    script = tmp_path / "0" / "recompute" / "recompute_pool.py"
    ran = subprocess.run([sys.executable, "-I", str(script)], capture_output=True, text=True, timeout=600, check=False)
    assert ran.returncode == 4 and "DIFFERENT" in ran.stdout


def test_trials_stand_under_the_question_they_answer() -> None:
    pooled = the_finding(pools()[0], trials=("trial-a",))
    report = replace(a_report(), kind="trial")
    findings = [pooled, finding_of_report("a", report), finding_of_report("b", report), finding_of_report("tank", a_report())]
    index = site(findings, title="T", about="", made_at=MADE)["index.html"].decode()
    places = [index.index(f'href="{slug}/index.html"') for slug in ("pool-kelp-plain", "trial-a", "trial-b", "brew-tank")]
    assert (
        places == sorted(places)
        and "Trials behind it" in index[places[0] : places[1]]
        and "Single brews" in index[places[2] : places[3]]
    )


PAPERS = """key,recipe,against,ratio,low,high,brews,brews_against,site
p1,kelp (invented),plain (invented),1.5,1.2,1.9,4,4,Farm of A. Nobody
p2,kelp (invented),plain (invented),1.9,1.4,2.6,4,4,Farm of A. Nobody
p3,kelp (invented),plain (invented),1.7,1.3,2.2,4,4,Garden of B. Nobody
"""


def test_a_notebook_s_pairs_become_one_finding_each_without_names_and_with_one_voice_a_place(tmp_path: Path) -> None:
    with invented(tmp_path / "own.notebook") as book, invented(tmp_path / "far.notebook", seed=7) as far:
        usecases.evidence.take_evidence(book, PAPERS.encode(), "papers.csv", now=NOW)
        usecases.trials.verdict_of_trial(book, "kelp", now=NOW)
        (one,) = pooled_findings(book, now=NOW, wanted=Wanted(), shown={"trial-kelp"})
        assert one.trials == ("trial-kelp",) and not one.invented and "4 trials of 3 places" in one.sure[0]
        page = site([one], title="T", about="", made_at=NOW)[f"{one.slug}/index.html"].decode()
        assert "Nobody" not in page and "place 1" in page
        (named,) = pooled_findings(book, now=NOW, wanted=Wanted(with_people=True), shown=set())
        assert named.trials == () and b"Nobody" in site([named], title="T", about="", made_at=NOW)[f"{named.slug}/index.html"]
        # A package whose data are made up stays marked wherever it goes.
        far.set_setting("demo", {}, at=NOW)
        usecases.trials.verdict_of_trial(far, "kelp", now=NOW)
        package = usecases.reports.report_of_trial(far, "kelp", now=NOW).package
        taken = usecases.evidence.take_evidence(book, package, "far.zip", now=NOW, site="far")
        assert taken.new and all(item.invented for item in taken.new)
        (marked,) = pooled_findings(book, now=NOW, wanted=Wanted(), shown=set())
        assert marked.invented and marked.poster.mark == "invented data"
        exported = usecases.exchange.export_package(far, now=NOW)
    with invented(tmp_path / "third.notebook") as third:
        taken = usecases.evidence.take_evidence(third, exported, "far.zip", now=NOW, site="far")
        assert taken.new and all(item.invented for item in taken.new)


def test_places_get_numbers_and_keep_one_voice() -> None:
    def trial(key: str, site: str) -> TrialContrast:
        return TrialContrast(key=key, recipe="a", against="b", effect=0.1, variance=0.01, site=site)

    told = numbered_places([trial("x", "Farm"), trial("y", "farm "), trial("z", ""), trial("w", "own notebook")])
    assert [item.site for item in told] == ["place 1", "place 1", "place 2", "own notebook"]


def test_an_address_that_is_none_of_the_web_is_refused(tmp_path: Path) -> None:
    with invented(tmp_path / "own.notebook") as book:
        for wrong in ("javascript:alert(1)", "example.org", 'https://a.example/"><b>', "ftp://a.example/"):
            with pytest.raises(UnusableRecord, match="no address"):
                usecases.reports.static_site(book, title="T", about="", now=NOW, address=wrong)
