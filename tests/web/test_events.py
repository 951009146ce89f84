"""Two taps at the vessel: the air is off, the air is on again."""

from __future__ import annotations

from aerobe.records import SensorLog
from tests.inference.test_air import balance
from tests.web.conftest import Shed


def key_of(shed: Shed) -> str:
    from aerobe.usecases.brews import brews_under_way

    return brews_under_way(shed.notebook, now=shed.clock())[0].key


def test_two_taps_note_a_stop_of_the_air(brewing: Shed) -> None:
    key = key_of(brewing)
    assert "Air off now" in brewing.client.get(f"/brews/{key}/record").text
    assert brewing.post(f"/brews/{key}/events", event="air off", entry="a1").status_code == 303
    brewing.clock.turn(hours=1)
    form = brewing.client.get(f"/brews/{key}/record").text
    assert "Air on again" in form and "Air off now" not in form
    said = brewing.post(f"/brews/{key}/events", json_answer=True, event="air on", entry="a2").json()
    assert said["says"] == "Kept: air on." and said["go_to"] == f"/brews/{key}"
    body = brewing.client.get(f"/brews/{key}").text
    assert "What happened" in body and "air off" in body and "Entered by mistake" in body


def test_what_happened_is_asked_with_its_amount_and_a_slip_comes_back(brewing: Shed) -> None:
    key = key_of(brewing)
    assert "Amount with its unit" in brewing.client.get(f"/brews/{key}/record?what=event").text
    assert brewing.post(f"/brews/{key}/events", event="water added", amount="5 L", entry="b1").status_code == 303
    wrong = brewing.post(f"/brews/{key}/events", event="water added", amount="", entry="b2")
    assert wrong.status_code == 422 and "needs an amount" in wrong.text
    assert "water added: 5 L" in brewing.client.get(f"/brews/{key}").text


def test_a_stop_seen_in_the_log_is_asked_about_on_the_page(brewing: Shed) -> None:
    key = key_of(brewing)
    times, values = balance(4.0, 6.0, until=8.0)
    log = SensorLog(brew=key, channel="oxygen", elapsed_h=tuple(times.tolist()), values=tuple(values.tolist()))
    brewing.notebook.append_log(log, at=brewing.clock())
    body = brewing.client.get(f"/brews/{key}").text
    assert "The log looks as if the air stood still from" in body and "No, the air ran" in body
    sent = {"event": "air kept running", "when": "3.8", "until": "6.3", "entry": "c1"}
    assert brewing.post(f"/brews/{key}/events", **sent).status_code == 303
    assert "The log looks as if" not in brewing.client.get(f"/brews/{key}").text
