"""The certificate through page, command and API: words, status, and what is kept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.cli import run
from aerobe.errors import NotAllowed, NotEnoughData, UnusableReading
from aerobe.records import Assay
from tests.web.conftest import Shed, shed  # noqa: F401

SMALL = """role,signal,unit,what,colour
water blank,5,ug C/mL,,
water blank,7,ug C/mL,,
water blank,6,ug C/mL,,
sample,118,ug C/mL,brew,0.3
sample,140,ug C/mL,brew,0.3
sample,131,ug C/mL,brew,0.3
filtered blank,24,ug C/mL,brew,0.3
filtered blank,22,ug C/mL,brew,0.3
killed control,23,ug C/mL,brew,0.3
killed control,25,ug C/mL,brew,0.3
"""


@pytest.fixture(scope="module")
def answer() -> usecases.assay.AssayAnswer:
    return usecases.assay.certify(usecases.assay.StudyForm(table=SMALL, name="Cards", scale_high="600"))


def test_one_page_of_text_says_what_matters(answer: usecases.assay.AssayAnswer) -> None:
    text = "\n".join(answer.as_text())
    assert "A single reading of" in text and "cannot be told from no microbes" in text and "the colour of brew adds about" in text
    assert "Rocke" in text and "gloves" in text
    assert len(answer.as_text()) < 60


def test_the_data_are_json_without_infinities(answer: usecases.assay.AssayAnswer) -> None:
    data = json.loads(json.dumps(answer.as_data(), allow_nan=False))
    assert data["error"]["bias"] == pytest.approx(answer.error.bias) and data["recipe"] == "brew"


def test_pictures_carry_their_numbers(answer: usecases.assay.AssayAnswer) -> None:
    meaning, colour = usecases.assay.certificate_pictures(answer)
    assert "cannot be told from no microbes" in meaning.says and "<svg" in meaning.svg()
    assert colour.figures.rows[0][0] == "brew"


@pytest.mark.parametrize("text", ["1 2 3", "1; 2; 3", "1, 2, 3", "1,2,3", "1\n2\n3"])
def test_typed_numbers(text: str) -> None:
    assert usecases.assay.numbers_typed(text, "numbers") == [1.0, 2.0, 3.0]
    assert usecases.assay.numbers_typed("1,5 2,5", "numbers") == [1.5, 2.5]
    with pytest.raises(UnusableReading):
        usecases.assay.numbers_typed(" ", "numbers")
    with pytest.raises(UnusableReading, match="at most"):
        usecases.assay.numbers_typed("1 " * 1001, "numbers")


def colour_cards(unit: str = "ug C/mL") -> Assay:
    return Assay(key="cards", name="Cards", method="colour test", unit=unit, price=4.0)


def test_a_certificate_is_kept_with_its_assay_and_used(shed: Shed, answer: usecases.assay.AssayAnswer) -> None:  # noqa: F811
    shed.notebook.add(colour_cards(), at=shed.clock())
    with pytest.raises(NotEnoughData):
        usecases.assay.error_of_assay(shed.notebook.get(Assay, "cards"))
    done = shed.post("/assay", table=SMALL, name="Cards", method="colour test", scale_high="600", assay="cards")
    assert done.status_code == 200 and "Kept with the assay cards" in done.text
    kept = shed.notebook.get(Assay, "cards")
    assert kept.error == answer.error and kept.error.origin == "certificate: Cards"
    asked = shed.post("/assay/tests", assay="cards", reading="120", expected="100", within="15", price="4")
    assert asked.status_code == 200 and "120 means" in asked.text and "for " in asked.text


def test_a_study_in_another_unit_is_not_kept(shed: Shed, answer: usecases.assay.AssayAnswer) -> None:  # noqa: F811
    shed.notebook.add(colour_cards("ug C/g"), at=shed.clock())
    with pytest.raises(NotAllowed, match="read in ug C/g"):
        usecases.assay.keep_certificate(shed.notebook, "cards", answer, now=shed.clock())


def test_the_printed_table_of_a_study_is_read_again_and_kept(
    shed: Shed,  # noqa: F811
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["assay", "example"]) == 0
    table = capsys.readouterr().out
    assert table == usecases.assay.example_study()  # a file, whatever signs and units a person reads
    shed.notebook.add(colour_cards("µg C/mL"), at=shed.clock())
    made = usecases.assay.certify(usecases.assay.StudyForm(table=SMALL))
    usecases.assay.keep_certificate(shed.notebook, "cards", made, now=shed.clock())
    assert shed.notebook.get(Assay, "cards").error == made.error
    assert usecases.assay.certify(usecases.assay.StudyForm(table=SMALL.replace("ug C", "µg C", 3))).error == made.error


def test_a_bad_study_comes_back_with_what_was_typed(shed: Shed) -> None:  # noqa: F811
    bad = SMALL.replace("sample,118", "sample,-118")
    answered = shed.post("/assay", table=bad, name="Cards", method="colour test")
    assert answered.status_code == 422 and "below zero" in answered.text and "before any blank is taken off" in answered.text
    assert "sample,-118" in answered.text
    by_file = shed.post("/assay", name="Cards", method="colour test", file=("study.csv", bad.encode(), "text/csv"))
    assert by_file.status_code == 422 and "sample,-118" in by_file.text


def test_a_study_can_come_as_a_file(shed: Shed) -> None:  # noqa: F811
    answered = shed.post("/assay", name="Cards", method="colour test", file=("study.csv", SMALL.encode(), "text/csv"))
    assert answered.status_code == 200 and "A single reading of" in answered.text


def test_the_certificate_on_paper_carries_its_pictures_and_data(shed: Shed) -> None:  # noqa: F811
    answered = shed.post("/assay/paper", table=SMALL, name="Cards", method="colour test", scale_high="600")
    assert answered.status_code == 200 and answered.headers["content-type"] == "application/pdf"
    assert answered.content.startswith(b"%PDF") and len(answered.content) > 20_000


def test_pages_answer(shed: Shed) -> None:  # noqa: F811
    for path in ("/assay", "/assay/count", "/assay/compare", "/assay/tests", "/assay/example.csv"):
        assert shed.client.get(path).status_code == 200


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"asked": "tubes", "amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "3 1 0"}, "0.43"),
        ({"asked": "plates", "plates": "0.01:144 0.01:118 0.001:26 0.001:20", "rule": "25-250"}, "14000 per mL"),
        ({"asked": "plates", "plates": "0.001:28 0.001:20 0.01:>300 0.01:>250", "rule": "25-250"}, "crowded plates"),
        ({"asked": "fields", "counts": "50 48 52 50", "volume_ml": "0.0001", "dilution": "2"}, "1e+06 per mL"),
        (
            {"asked": "ratio", "fungi": "2", "bacteria": "10", "fungi_sd": "0.5", "bacteria_sd": "1", "kind": "mass"},
            "Ratio (mass)",
        ),
    ],
)
def test_counts_on_the_page(shed: Shed, fields: dict[str, str], words: str) -> None:  # noqa: F811
    answered = shed.post("/assay/count", **fields)
    assert answered.status_code == 200 and words in answered.text


def test_an_impossible_count_comes_back(shed: Shed) -> None:  # noqa: F811
    answered = shed.post("/assay/count", asked="tubes", amounts="10 1 0.1", tubes="3 3 3", positives="4 1 0")
    assert answered.status_code == 422 and "positive tubes is impossible" in answered.text and "4 1 0" in answered.text


def test_two_tests_on_the_page(shed: Shed) -> None:  # noqa: F811
    x = " ".join(str(v) for v in range(10, 30))
    y = " ".join(str(v + v % 3 + 2) for v in range(10, 30))
    answered = shed.post("/assay/compare", first=x, second=y, first_name="cards", second_name="counts", unit="ug C/mL")
    assert answered.status_code == 200 and "Passing-Bablok, 20 pairs" in answered.text and "cards and counts" in answered.text
    moving = shed.post("/assay/compare", first=x, second=y, foods="kelp " * 10 + "sugar " * 10, phases="early late " * 10)
    assert moving.status_code == 200 and "by phase" in moving.text
    short = shed.post("/assay/compare", first=x, second=y, foods="kelp", phases="early late " * 10)
    assert short.status_code == 422 and "Foods and phases differ in number" in short.text


def test_the_interface_for_programs(shed: Shed) -> None:  # noqa: F811
    headers = {"x-aerobe-form": shed.token}
    data = shed.client.post("/api/assay/certificate", json={"table": SMALL, "name": "Cards"}, headers=headers)
    assert data.status_code == 200 and data.json()["conclusion"].startswith("A single reading of")
    bad = shed.client.post("/api/assay/certificate", json={"tables": SMALL}, headers={**headers, "accept": "application/json"})
    assert bad.status_code == 422 and "text fields" in bad.text
    tubes = shed.client.get("/api/assay/tubes", params={"amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "3 1 0"})
    assert tubes.json()["value"] == pytest.approx(0.4271, abs=1e-3)
    plates = shed.client.get("/api/assay/plates", params={"plates": "0.01:120 0.001:14"})
    assert plates.json()["weighted_mean"]["reported"] == 12000 and plates.json()["with_crowded"] is None


def test_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    study = tmp_path / "study.csv"
    study.write_text(SMALL)
    assert run(["assay", "certificate", str(study), "--name", "Cards", "--out", str(tmp_path / "out")]) == 0
    assert "A single reading of" in capsys.readouterr().out
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "certificate.txt",
        "certificate.json",
        "certificate-meaning.svg",
        "certificate-colour.svg",
    }
    assert run(["assay", "example"]) == 0 and capsys.readouterr().out.startswith("role,signal,unit")
    for words, said in (
        (["tubes", "10 1 0.1", "3 3 3", "3 1 0"], "0.43"),
        (["plates", "0.01:120 0.001:14"], "12000"),
        (["fields", "12 9 15 8"], "110000"),
        (["ratio", "2", "10", "--fungi-sd", "0.5", "--bacteria-sd", "1"], "Ratio (mass)"),
        (["compare", "1 2 3 4", "1.1 2.3 2.9 4.2"], "Deming"),
        (
            ["compare", "1 2 3 4 5 6", "1.1 2.3 2.9 4.2 5 6.1", "--foods", "a a a b b b", "--phases", "x y y x y y"],
            "ratio of the two",
        ),
        (["addition", "0 5 10 15 20 25 30", "0.32 0.41 0.52 0.60 0.70 0.77 0.89"], "17.3 (15.3 to 19.2"),  # Miller and Miller
        (["carbon", "1e6", "0.05"], "differ 2.0-fold"),
        (["hyphae", "4 7 2 5", "--grid-line-mm", "2", "--filter-mm2", "200", "--filtered-ml", "1", "--width-um", "3"], "m/mL"),
        (
            [
                "basis",
                "300 +- 30",
                "--given",
                "per g dry",
                "--wanted",
                "per mL",
                "--density",
                "0.5 +- 0.05",
                "--moisture",
                "0.55",
            ],
            "67.5",
        ),
    ):
        assert run(["assay", *words]) == 0
        assert said in capsys.readouterr().out
        assert run(["assay", *words, "--json"]) == 0
        json.loads(capsys.readouterr().out)
    assert run(["assay", "certificate", str(tmp_path / "nothing.csv")]) == 3
    assert "Give the path" in capsys.readouterr().err


def test_commands_on_the_notebook(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from datetime import UTC, datetime

    book, study = tmp_path / "tea.notebook", tmp_path / "study.csv"
    study.write_text(SMALL)
    with usecases.notebook.open_notebook(book, at=datetime(2026, 5, 1, tzinfo=UTC)) as notebook:
        notebook.add(colour_cards(), at=datetime(2026, 5, 1, tzinfo=UTC))
    where = ["--notebook", str(book)]
    assert run(["assay", "meaning", "cards", "120", *where]) == 3  # not characterised yet
    assert "Characterise it first" in capsys.readouterr().err
    assert run(["assay", "certificate", str(study), "--name", "Cards", "--keep", "cards", *where]) == 0
    assert run(["assay", "meaning", "cards", "120", *where]) == 0
    assert "120 means" in capsys.readouterr().out
    assert run(["assay", "how-many", "cards", "--expected", "100", "--within", "20", *where]) == 0
    assert run(["assay", "how-many", "cards", "--expected", "100", "--within", "5", "--true-value", *where]) == 4
    assert "endless tests" in capsys.readouterr().out
