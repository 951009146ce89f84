"""Two phones away from the network for a day: both send what they kept, twice and in any order, and correct the same readings."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe.notebook import check
from aerobe.records import Brew
from tests.reliability.world import World, open_world
from tests.web.conftest import form_token

KEY = "kelp-5"
DAY_S = 14 * 3600  # the brew of the invented yard has stood for a little longer


def phone(world: World, address: str) -> TestClient:
    """A paired device of the local network."""
    pairing = world.app.state.pairing
    token = pairing.accept(pairing.offer().code, f"phone {address}")
    made = TestClient(world.app, base_url="https://192.168.1.5:8471", client=(address, 5000), cookies={"aerobe_device": token})
    made.headers["x-aerobe-form"] = form_token(made.get("/menu").text)
    return made


def come_back(world: World, entries: int, seed: int) -> None:
    rng = random.Random(seed)
    phones = {name: phone(world, f"192.168.1.{place}") for place, name in enumerate("ab", start=70)}
    before = len(world.notebook.readings(KEY, with_corrected=True))
    waiting = [(name, number, rng.randrange(DAY_S)) for name in phones for number in range(entries)]
    rng.shuffle(waiting)
    for name, number, age_s in [*waiting, *waiting]:  # every answer was lost the first time
        signal = 1000 * (1 + "ab".index(name)) + number
        sent = {"what": "assay:colour-test", "signal": f"{signal}", "age_s": f"{age_s}", "entry": f"{name}-{number}"}
        answer = phones[name].post(f"/brews/{KEY}/readings", data=sent, headers={"accept": "application/json"})
        assert answer.status_code == 200, answer.text
    book = world.notebook
    assert len(book.readings(KEY, with_corrected=True)) == before + 2 * entries
    hours = {item.key: item.elapsed_h for item in book.readings(KEY)}
    now_h = book.get(Brew, KEY).hours_at(world.clock())
    for name, number, age_s in waiting:  # each at the time when it was typed, whoever came first
        assert hours[f"r-{name}-{number}"] == pytest.approx(now_h - age_s / 3600.0, abs=1e-3)
    assert check(book) == []
    _both_correct(world, phones)


def _both_correct(world: World, phones: dict[str, TestClient]) -> None:
    """Both correct one reading: the first stands, the second is told by whom it was corrected and keeps what was typed."""
    path = f"/brews/{KEY}/readings/r-a-0"
    first = phones["a"].post(f"{path}/correct", data={"signal": "11", "why": "a slip", "entry": "ca"}, follow_redirects=False)
    assert first.status_code == 303
    second = phones["b"].post(
        f"{path}/correct", data={"signal": "12", "why": "as I read it", "entry": "cb"}, follow_redirects=False
    )
    assert second.status_code == 422
    assert "has been corrected already" in second.text and "r-ca" in second.text
    assert 'value="12"' in second.text and "as I read it" in second.text
    again = phones["b"].post(
        f"/brews/{KEY}/readings/r-ca/correct", data={"signal": "12", "why": "as I read it", "entry": "cb"}, follow_redirects=False
    )
    assert again.status_code == 303
    book = world.notebook
    every = {item.key: item for item in book.readings(KEY, with_corrected=True)}
    assert (every["r-cb"].replaces, every["r-ca"].replaces) == ("r-ca", "r-a-0") and every["r-a-0"].signal == 1000
    page = phones["a"].get(f"/brews/{KEY}/readings/r-cb").text
    assert "1000" in page and "11" in page and "12" in page  # all three stand in its history
    assert [item.signal for item in book.readings(KEY) if item.key in ("r-a-0", "r-ca", "r-cb")] == [12]


def test_two_phones_that_were_away_lose_nothing_and_their_conflict_is_shown(tmp_path: Path) -> None:
    with open_world(tmp_path) as world:
        come_back(world, 15, seed=1)


@pytest.mark.night
def test_two_phones_with_two_hundred_entries_each(tmp_path: Path) -> None:
    with open_world(tmp_path) as world:
        come_back(world, 200, seed=2)
