"""Pages, commands and the interface for programs: none of them lets a held-back brew onto lettuce, each carries its cautions."""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterator
from dataclasses import asdict, replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from aerobe import cli, usecases
from aerobe.notebook import Notebook
from aerobe.records import Use
from aerobe.safety import LOCAL, all_cautions
from aerobe.units import signs
from aerobe.web import ServeSettings, create_app
from tests.safety.garden import LETTUCE, NOW, notebook  # noqa: F401  (a fixture)

BAD = ("fed", "starved", "unknown")


@pytest.fixture
def phone(notebook: Notebook) -> Iterator[TestClient]:  # noqa: F811
    # Calls on the brews are not what these pages show: nothing is worked out beside them.
    app = create_app(notebook, clock=lambda: NOW, settings=ServeSettings(watching=False), advise=lambda *_: None)
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5000)) as client:
        yield client


def token(phone: TestClient) -> str:
    found = re.search(r'name="form_token" value="([^"]+)"', phone.get("/safety/use").text)
    assert found
    return found[1]


def form(entry: usecases.safety.UseEntry, phone: TestClient, do: str) -> dict[str, str]:
    typed = {name: value for name, value in asdict(entry).items() if value}
    for name in ("tea", "water", "area"):
        typed[name], typed[f"{name}_unit"] = typed[name].split()
    return {**typed, "do": do, "form_token": token(phone), "entry": f"entry-{do}-{entry.brew}"}


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


@pytest.mark.parametrize("do", ["ask", "keep"])
def test_the_page_lets_the_clean_tea_go_and_holds_the_others(phone: TestClient, notebook: Notebook, do: str) -> None:  # noqa: F811
    good = phone.post("/safety/use", data=form(LETTUCE, phone, do))
    assert good.status_code == 200 and "Nothing known stands against this use" in good.text
    for brew in BAD:
        text = words(phone.post("/safety/use", data=form(replace(LETTUCE, brew=brew), phone, do)).text)
        assert "Hold back" in text and "Nothing known stands" not in text and LOCAL in text.lower()
    assert len(notebook.find(Use)) == (4 if do == "keep" else 0)


def test_programs_get_the_same_answer(phone: TestClient) -> None:
    headers = {"x-aerobe-form": token(phone)}
    assert (
        phone.post("/api/safety/use", json=asdict(LETTUCE), headers=headers).json()["call"] == "nothing known stands against it"
    )
    for brew, edible, touches, method in itertools.product(
        BAD, ("yes", "no", ""), ("yes", "no", ""), ("foliar spray", "drench", "")
    ):
        entry = asdict(replace(LETTUCE, brew=brew, edible=edible, touches=touches, method=method))
        answer = phone.post("/api/safety/use", json=entry, headers=headers).json()
        # Poured on soil with enough days is another use; 20 days are not enough.
        assert answer["call"] == "hold back" and LOCAL in answer["sentence"].lower() and answer["cautions"]
    gates = phone.get("/api/safety/brews/starved").json()
    assert not gates["all_open"] and LOCAL in gates["decides"].lower()


def test_extra_fields_cannot_open_a_gate(phone: TestClient) -> None:
    """A program that sends its own findings is not believed: they come from the notebook."""
    sent = {
        **asdict(replace(LETTUCE, brew="fed")),
        "tea_kind": "treated",
        "e_coli": "shown to pass",
        "gates": [],
        "call": "nothing",
        "has_additives": False,
    }
    assert phone.post("/api/safety/use", json=sent, headers={"x-aerobe-form": token(phone)}).json()["call"] == "hold back"


@pytest.mark.parametrize(
    "address",
    [
        "/safety",
        "/safety/brews/clean",
        "/safety/brews/starved",
        "/safety/use",
        "/safety/compost/heap",
        "/safety/gear",
        "/safety/tables",
        "/safety/tables?place=Germany",
        "/safety/cautions",
        "/safety/limits",
    ],
)
def test_every_page_says_who_decides(phone: TestClient, address: str) -> None:
    answer = phone.get(address)
    assert answer.status_code == 200
    assert LOCAL in words(answer.text).lower()


@pytest.mark.parametrize("address", ["/safety", "/safety/brews/clean", "/safety/use", "/safety/compost/heap", "/safety/gear"])
def test_cautions_stand_where_the_decision_is_made_and_in_full_one_tap_away(phone: TestClient, address: str) -> None:
    text = words(phone.get(address).text)
    shown = [item for item in all_cautions() if signs(item.short) in text]
    assert len(shown) >= 2
    assert all(signs(" ".join(item.full.split())) in text for item in shown)


def test_a_brew_page_holds_back_and_opens_again(phone: TestClient, notebook: Notebook) -> None:  # noqa: F811
    assert "Nothing known stands against the harvest" in phone.get("/safety/brews/clean").text
    sent = {"form_token": token(phone), "entry": "s1", "smell": "sulphurous"}
    assert "Hold back" in phone.post("/safety/brews/clean/smell", data=sent).text
    assert "Nothing known stands against the harvest" not in phone.get("/safety/brews/clean").text


def test_tubes_typed_on_the_phone(phone: TestClient) -> None:
    sent = {
        "form_token": token(phone),
        "entry": "t1",
        "germ": "E. coli",
        "amounts": "10 1 0,1",
        "tubes": "3 3 3",
        "positives": "3 1 1",
    }
    answer = phone.post("/safety/brews/fed/test", data=sent)
    assert answer.status_code == 200 and "not shown to pass" in answer.text
    wrong = phone.post("/safety/brews/fed/test", data={**sent, "entry": "t2", "positives": "3 1 x"})
    assert wrong.status_code == 422 and 'value="3 1 x"' in wrong.text


def test_what_was_typed_comes_back_after_a_fault(phone: TestClient) -> None:
    answer = phone.post("/safety/use", data={**form(LETTUCE, phone, "keep"), "days": "soon"})
    assert answer.status_code == 422 and 'value="soon"' in answer.text and 'value="lettuce"' in answer.text


def test_a_heat_log_on_the_phone(phone: TestClient) -> None:
    log = "\n".join(f"{day} {60 if day < 16 else 30} {'turned' if day in (2, 5, 8, 11, 14) else ''}" for day in range(17))
    sent = {
        "form_token": token(phone),
        "entry": "c1",
        "process": "windrow",
        "log": log,
        "unit": "degC",
        "ratio": "30",
        "pieces": "",
    }
    assert "US: shown to pass" in words(phone.post("/safety/compost/bag", data=sent).text)
    bad = phone.post("/safety/compost/bag", data={**sent, "log": "0 hot"})
    assert bad.status_code == 422 and "0 hot" in bad.text


def test_water_and_gear_on_the_phone(phone: TestClient) -> None:
    text = words(phone.get("/safety/gear?water=20&chlorine=2&chloramine=no").text)
    assert "100 mg" in text and "never mix" in text.lower()
    assert "TOTAL chlorine" in text
    assert phone.get("/safety/gear?water=20&chlorine=lots").status_code == 422
    assert "2.54 mL" in words(phone.get("/safety/gear?bath=1&bleach=7.86").text)


def run(capsys: Any, *sent: str) -> tuple[int, str]:
    code = cli.run(["safety", *sent])
    return code, capsys.readouterr().out


@pytest.fixture
def book(notebook: Notebook, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:  # noqa: F811
    import aerobe.cli._safety as commands

    monkeypatch.setattr(commands, "now", lambda: NOW)
    return str(tmp_path / "tea.notebook")


def flags(entry: usecases.safety.UseEntry) -> list[str]:
    return [part for name, value in asdict(entry).items() if value for part in (f"--{name.replace('_', '-')}", value)]


def test_the_command_lets_the_clean_tea_go_and_holds_the_others(book: str, capsys: Any) -> None:
    code, out = run(capsys, "ask", *flags(LETTUCE), "-n", book)
    assert code == 0 and out.startswith("Nothing known stands against this use.") and LOCAL in out.lower()
    for command, brew in itertools.product(("ask", "use"), BAD):
        code, out = run(capsys, command, *flags(replace(LETTUCE, brew=brew)), "-n", book)
        assert code == 4 and "Hold back" in out and LOCAL in out.lower() and "\n! " in out
        code, out = run(capsys, command, *flags(replace(LETTUCE, brew=brew)), "-n", book, "--json")
        assert code == 4 and json.loads(out)["call"] == "hold back" and json.loads(out)["cautions"]


@pytest.mark.parametrize(
    ("sent", "code", "word"),
    [
        (["gates", "clean"], 0, "[open] smell"),
        (["gates", "starved"], 4, "[closed] oxygen measured"),
        (["place"], 0, "Chosen: US"),
        (["compost", "heap"], 0, "shown to pass"),
        (["compost", "bag"], 4, "not shown to pass"),
        (["smell", "clean", "earthy"], 0, "Kept"),
        (["test", "fed", "E. coli", "--amounts", "10 1 0.1", "--tubes", "3 3 3", "--positives", "3 1 1"], 4, "not shown to pass"),
        (["test", "fed", "E. coli", "--amounts", "10 1 0.1", "--tubes", "3 3 3", "--positives", "0 0 0"], 0, "shown to pass"),
        (["material", "heap", "--made-of", "sewage sludge", "--certificate", "class B"], 0, "sewage sludge"),
        (["material", "heap", "--made-of", "moon dust"], 3, ""),
        (["germ", "clean", "Salmonella", "found"], 0, "held back"),
        (["germ", "clean", "Salmonella", "perhaps"], 3, ""),
        (["own-rule", "--days", "14"], 0, "14 d at least"),
        (["own-rule"], 0, "0 d at least"),
        (["water", "plain", "none"], 0, "Kept"),
        (["water", "plain", "perhaps"], 3, ""),
        (["place", "Atlantis"], 3, ""),
        (["compost-history", "bag", "--process", "windrow", "--ratio", "30:1", "--pieces", "20"], 0, "Kept"),
    ],
)
def test_commands_on_a_notebook(book: str, capsys: Any, sent: list[str], code: int, word: str) -> None:
    got, out = run(capsys, *sent, "-n", book)
    assert (got, word in out) == (code, True)
    got, out = run(capsys, *sent, "-n", book, "--json")
    assert got == code and json.loads(out)


@pytest.mark.parametrize(
    ("sent", "word"),
    [
        (["chlorine", "--water", "20 L", "--chlorine", "2", "--chloramine", "no"], "Ascorbic acid: 100 mg"),
        (["sanitise", "--bath", "1 L", "--bleach", "7.86"], "Bleach: 2.54 mL"),
        (["cautions", "spraying"], "mask"),
        (["cautions", "--full"], "Local codes"),
        (["limits"], "raw-manure-days-soil"),
        (["rules", "US"], "112.56(a)(2)"),
        (["rules"], "New Zealand"),
    ],
)
def test_commands_without_a_notebook(capsys: Any, sent: list[str], word: str) -> None:
    code, out = run(capsys, *sent)
    assert code == 0 and word in out
    code, out = run(capsys, *sent, "--json")
    assert code == 0 and json.loads(out)


@pytest.mark.parametrize(
    ("sent", "code", "word"),
    [
        (["tea-e-coli", "--count", "75 17 200"], 4, "not shown to pass"),
        (["tea-e-coli", "--count", "35 8,7 94"], 0, "shown to pass"),
        (["compost-salmonella", "--found", "no", "--finds", "3"], 0, "shown to pass"),
        (["compost-salmonella", "--found", "yes"], 4, "fails"),
        (["compost-salmonella"], 4, "not shown to pass"),
        (["compost-eu-e-coli", "--portions", "0 10 1200 0 0"], 0, "shown to pass"),
        (["compost-eu-e-coli", "--portions", "0 10 1200 1200 0"], 4, "fails"),
        (["tea-e-coli", "--count", "75"], 3, ""),
        (["no-such-limit", "--count", "1 0 2"], 3, ""),
    ],
)
def test_a_laboratory_result_at_the_command_line(capsys: Any, sent: list[str], code: int, word: str) -> None:
    got, out = run(capsys, "lab", *sent)
    assert got == code and out.startswith(word)
    if code != 3:
        assert LOCAL in out.lower()


def test_a_mix_at_the_command_line(capsys: Any) -> None:
    assert run(capsys, "mix", "--amount", "10 L", "--parts", "4") == (0, "2 L of tea and 8 L of water.\n")


def test_the_page_asks_three_things_first_and_then_only_what_the_use_needs(phone: TestClient) -> None:
    first = words(phone.get("/safety/use").text)
    what, where, when = (first.index(text) for text in ("What is it?", "Where does it go?", "When is it eaten?"))
    assert what < where < when < first.index("Other questions")
    sent = {**form(replace(LETTUCE, seedling="", brew="clean"), phone, "ask")}
    text = words(phone.post("/safety/use", data=sent).text)
    asked = text[text.index("Still asked for this use") : text.index("What is it?")]
    assert "Next: answer: Is it eaten as sprout" in text
    assert "seedling" in asked and "graze" not in asked and "pigs" not in asked


def test_the_page_shows_the_cell_that_decided_with_its_paragraph(phone: TestClient) -> None:
    text = words(phone.post("/safety/use", data=form(LETTUCE, phone, "ask")).text)
    assert "cell treated-a: may. 21 CFR part 112" in text and "112.56(a)(3)" in text
    table = words(phone.get("/safety/tables?place=US").text)
    assert "treated-b-on-food" in table and "112.56(a)(2)" in table and "On file from memory: check it against the text." in table
    assert "Read this year." in table


def test_a_reading_of_a_rule_ages(phone: TestClient) -> None:
    now = NOW.replace(year=NOW.year + 5)
    book = usecases.safety.rule_book("US", now=now)
    assert any("check it again before you rely on it" in row[3] for row in book.editions)
    assert any(row[4].startswith("revoked") or "from memory" in row[3] for row in book.editions)


def test_what_is_said_of_the_compost_and_a_germ_on_the_phone(phone: TestClient, notebook: Notebook) -> None:  # noqa: F811
    sent = {"form_token": token(phone), "entry": "m1", "made_of": ["manure", "food waste"], "soiled": "yes", "certificate": ""}
    phone.post("/safety/compost/heap", data=sent)
    noted = usecases.safety.material_of(notebook, "heap")
    assert (noted.made_of, noted.soiled, noted.certificate) == (("manure", "food waste"), True, "112.55(a)")
    germ = {"form_token": token(phone), "entry": "g1", "disease_germ": "Listeria", "outcome": "found"}
    phone.post("/safety/brews/clean/germ", data=germ)
    assert usecases.safety.germs_of(notebook, "clean")["listeria"] == "fails"
    phone.post("/safety/own-rule", data={"form_token": token(phone), "entry": "o1", "days": "10", "test": "yes"})
    assert usecases.safety.own_rule_of(notebook) == (10.0, True)
