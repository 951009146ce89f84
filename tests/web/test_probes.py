"""Probes: posted over HTTP, published over MQTT with a real broker, and noticed when they fail."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from aerobe import usecases
from aerobe.errors import AerobeError, NotebookFault, UnusableReading, UnusableRecord
from aerobe.oxygen import probe_troubles
from aerobe.oxygen._live_probe import spike_heights
from aerobe.web._broker import Broker, BrokerSettings, Topic, topics_from
from aerobe.web._points import batches_from
from aerobe.web._senders import add_sender
from tests.ports import free_port
from tests.web.conftest import START, Shed


@pytest.fixture
def probe(brewing: Shed) -> dict[str, str]:
    token = add_sender(brewing.state, name="DO 1", place="barrel", now=brewing.clock())
    return {"authorization": f"Bearer {token}"}


def oxygen(shed: Shed) -> list[float]:
    return shed.notebook.log("barrel-1", "oxygen")[1].tolist()


def test_a_probe_posts_one_value_to_the_brew_in_its_vessel(brewing: Shed, probe: dict[str, str]) -> None:
    answer = brewing.client.post("/log/points", json={"channel": "oxygen", "unit": "mg/L", "value": 7.9}, headers=probe)
    assert answer.json() == {"brew": "barrel-1", "new_points": 1}
    assert brewing.notebook.log("barrel-1", "oxygen")[0].tolist() == [8.0] and oxygen(brewing) == [7.9]


def test_a_batch_sent_twice_is_kept_once(brewing: Shed, probe: dict[str, str]) -> None:
    points = [[f"2026-05-01T{hour:02d}:00:00+02:00", 8.0 - hour / 10] for hour in range(9, 15)]
    for key in ("a", "a", "b"):
        told = {"channel": "oxygen", "unit": "mg/L", "points": points}
        brewing.client.post("/log/points", json=told, headers={**probe, "idempotency-key": key})
    assert len(oxygen(brewing)) == 6


def test_two_long_keys_that_begin_alike_are_two(brewing: Shed, probe: dict[str, str]) -> None:
    for number in (1, 2, 2):
        told = {"channel": "oxygen", "unit": "mg/L", "points": [[f"2026-05-01T0{number}:00:00+02:00", 7.0 + number]]}
        brewing.client.post("/log/points", json=told, headers={**probe, "idempotency-key": "x" * 80 + str(number)})
    assert oxygen(brewing) == [8.0, 9.0]


def test_a_table_of_two_channels_is_taken_apart(brewing: Shed, probe: dict[str, str]) -> None:
    table = 'time,channel,value,unit\n2026-05-01T09:00+02:00,oxygen,"7,5",mg/L\n2026-05-01T09:00+02:00,temperature,68,degF\n'
    answer = brewing.client.post("/log/points", content=table, headers={**probe, "content-type": "text/csv"})
    assert answer.json()["new_points"] == 2
    assert brewing.notebook.log("barrel-1", "temperature")[1][0] == pytest.approx(20.0)


def test_many_values_told_one_by_one_are_one_writing() -> None:
    told = [{"channel": "oxygen", "unit": "mg/L", "value": number} for number in range(3000)]
    (batch,) = batches_from(json.dumps(told).encode(), "application/json")
    assert [point.value for point in batch.points] == list(range(3000))
    with pytest.raises(UnusableReading, match="too many"):
        batches_from(json.dumps([{"points": [[None, 1.0]] * 300_000}] * 2).encode(), "application/json")


@pytest.mark.parametrize("header", [{}, {"authorization": "Bearer wrong"}, {"authorization": "Basic abc"}])
def test_without_its_token_a_probe_writes_nothing(brewing: Shed, header: dict[str, str]) -> None:
    answer = brewing.client.post("/log/points", json={"channel": "oxygen", "unit": "mg/L", "value": 7.9}, headers=header)
    assert answer.status_code == 403 and oxygen(brewing) == []


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("", ""),
        ("[1]", "application/json"),
        ("{", "application/json"),
        ('{"channel":"oxygen","unit":"mg/L"}', ""),
        ("NaN", ""),
        ("abc", ""),
        ('{"channel":"oxygen","unit":"mg/L","points":[1]}', ""),
        ("time,x\n1,2\n", "text/csv"),
        ('{"channel":"oxygen","unit":"mg/L","value":1e999}', ""),
        ('{"channel":"oxygen","unit":"mg/L","value":1,"at":"2026-05-01"}', ""),
    ],
)
def test_a_body_that_cannot_be_read_says_what_to_send(body: str, kind: str) -> None:
    with pytest.raises(AerobeError) as fault:
        batches_from(body.encode(), kind, channel="oxygen", unit="mg/L")
    assert fault.value.remedy


def test_a_probe_in_an_unknown_unit_or_from_the_future_is_refused(brewing: Shed, probe: dict[str, str]) -> None:
    for told in (
        {"channel": "oxygen", "unit": "furlong", "value": 8},
        {"channel": "mood", "unit": "mg/L", "value": 8},
        {"channel": "oxygen", "unit": "mg/L", "value": 8, "at": "2026-05-03T08:00:00+02:00"},
    ):
        answer = brewing.client.post("/log/points", json=told, headers=probe)
        assert answer.status_code == 422 and answer.json()["remedy"]
    assert oxygen(brewing) == []


# -- a live probe's log -------------------------------------------------------------------------------------------------

HOURS = np.arange(0, 6, 1 / 30)
CALM = np.round(8.0 - 0.2 * HOURS + 0.05 * np.sin(40 * HOURS), 2)


def kinds(times: np.ndarray, values: np.ndarray, now_h: float) -> list[str]:
    return [item.kind for item in probe_troubles("oxygen", times, values, now_h=now_h)]


def test_a_probe_that_works_is_left_in_peace() -> None:
    assert kinds(HOURS, CALM, 6.0) == []


def test_silence_is_noticed() -> None:
    assert kinds(HOURS, CALM, 7.0) == ["silent"]


def test_a_slow_probe_is_not_called_silent() -> None:
    assert kinds(np.arange(0, 6, 0.5), np.linspace(8, 6, 12), 6.4) == []


def test_a_stuck_value_is_noticed_only_where_it_moved_before() -> None:
    stuck = np.where(HOURS < 4, CALM, CALM[HOURS < 4][-1])
    assert kinds(HOURS, stuck, 6.0) == ["stuck"]
    coarse = np.round(8.0 - 0.2 * HOURS, 0)
    assert kinds(HOURS, coarse, 6.0) == []


def test_jumps_and_impossible_values_are_noticed() -> None:
    jumping = CALM.copy()
    jumping[[-5, -10, -15]] += 4.0
    assert kinds(HOURS, jumping, 6.0) == ["jumping"]
    assert "out of range" in kinds(HOURS, np.append(CALM[:-1], 40.0), 6.0)


def test_the_spike_is_that_of_the_manual() -> None:
    # QARTOD dissolved oxygen manual 2018, test 6 (from memory): SPK_REF is the mean of the points before and after,
    # the point is flagged by |n - SPK_REF|. Points 1, 5, 3: reference 2, height 3.
    assert spike_heights([1.0, 5.0, 3.0]).tolist() == [3.0]


# -- MQTT ---------------------------------------------------------------------------------------------------------------

PATIENCE_S = 240.0  # how long the machine may take is not what is tested
mosquitto = shutil.which("mosquitto") or ("/usr/sbin/mosquitto" if Path("/usr/sbin/mosquitto").exists() else None)


@contextlib.contextmanager
def broker(folder: Path, port: int, *, keeps: bool = False) -> Iterator[None]:
    """A real broker for the time of a test; one that `keeps` remembers sessions over a restart."""
    assert mosquitto is not None
    config = folder / "mosquitto.conf"
    as_root = "user root\n" if os.name == "posix" and os.getuid() == 0 else ""  # else it could not write its own memory here
    memory = f"persistence true\npersistence_location {folder}/\n" if keeps else "persistence false\n"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n{as_root}{memory}")
    process = subprocess.Popen([mosquitto, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for_broker(process, port)
        yield
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def wait_for_broker(process: subprocess.Popen[bytes], port: int) -> None:
    """Until it takes calls."""
    end = time.monotonic() + PATIENCE_S
    while True:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), PATIENCE_S):
            return
        assert process.poll() is None and time.monotonic() < end, "the broker did not start"
        time.sleep(0.05)


async def until(what) -> None:  # type: ignore[no-untyped-def]
    end = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < end, "it did not happen in time"
        await asyncio.sleep(0.05)


async def publish(port: int, topic: str, payload: str) -> None:
    from paho.mqtt.publish import single

    await asyncio.to_thread(single, topic, payload, qos=1, hostname="127.0.0.1", port=port)


@pytest.mark.broker
@pytest.mark.skipif(mosquitto is None, reason="mosquitto is not installed")
def test_a_published_value_is_kept_also_after_the_broker_was_away(brewing: Shed, tmp_path: Path) -> None:
    port = free_port()
    topics = (Topic(topic="shed/do", place="barrel", channel="oxygen", unit="mg/L"),)
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)

    async def walk() -> None:
        with broker(tmp_path, port):
            await listener.use(BrokerSettings(host="127.0.0.1", port=port, topics=topics))
            await until(lambda: "Listening" in listener.says)
            await publish(port, "shed/do", "7,9")
            await until(lambda: oxygen(brewing) == [7.9])
            await publish(port, "shed/do", "no number")
            await until(lambda: "refused" in listener.says)
        await until(lambda: "away" in listener.says)
        with broker(tmp_path, port):
            await until(lambda: "Listening" in listener.says)
            brewing.clock.turn(minutes=5)
            await publish(port, "shed/do", json.dumps({"value": 7.7, "unit": "mg/L"}))
            await until(lambda: oxygen(brewing) == [7.9, 7.7])
            await listener.stop()

    asyncio.run(walk())


@pytest.mark.broker
@pytest.mark.skipif(mosquitto is None, reason="mosquitto is not installed")
def test_what_is_published_while_we_are_away_or_the_broker_starts_anew_all_arrives(brewing: Shed, tmp_path: Path) -> None:
    port = free_port()
    topics = (Topic(topic="shed/do", place="barrel", channel="oxygen", unit="mg/L"),)
    settings = BrokerSettings(host="127.0.0.1", port=port, topics=topics)
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock, name="aerobe-test")
    listener._lost = time.monotonic()  # it was listening just now
    at = brewing.clock()

    async def say(number: int) -> None:
        told = {"value": number / 10, "unit": "mg/L", "at": (at + timedelta(seconds=number)).isoformat()}
        await publish(port, "shed/do", json.dumps(told))

    async def walk() -> None:
        brewing.clock.turn(minutes=5)
        with broker(tmp_path, port, keeps=True):
            await listener.use(settings)
            await until(lambda: "Listening" in listener.says)
            await say(70)
            await until(lambda: oxygen(brewing) == [7.0])
            await listener.stop()
            for number in range(71, 81):
                await say(number)
        with broker(tmp_path, port, keeps=True):
            await listener.use(settings)
            await until(lambda: oxygen(brewing) == [number / 10 for number in range(70, 81)])
            await listener.stop()

    asyncio.run(walk())


def test_a_value_is_acknowledged_only_when_the_store_has_it(brewing: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)
    settings = BrokerSettings(host="x", topics=(Topic(topic="a", place="barrel", channel="oxygen", unit="mg/L"),))
    true, tries, acknowledged = usecases.brews.take_points, [], []

    def held(*args: object, **how: object) -> object:
        tries.append(len(acknowledged))
        if len(tries) < 3:
            raise NotebookFault("Another program is writing to the notebook.", "Wait.")
        return true(*args, **how)

    monkeypatch.setattr(usecases.brews, "take_points", held)
    monkeypatch.setattr("aerobe.web._broker.STORE_RETRY_S", (0.01,))
    client = SimpleNamespace(ack=lambda mid, qos: acknowledged.append(mid))
    listener._waiting.put(SimpleNamespace(topic="a", payload=b"7.9", mid=5, qos=1, retain=False))
    listener._waiting.put(None)
    listener._work(settings, client)
    assert tries == [0, 0, 0] and acknowledged == [5] and oxygen(brewing) == [7.9]


def test_a_value_that_waited_nobody_knows_how_long_is_kept_apart_and_not_put_at_a_made_up_time(brewing: Shed) -> None:
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)
    settings = BrokerSettings(host="x", topics=(Topic(topic="a", place="barrel", channel="oxygen", unit="mg/L"),))
    listener._take(settings, "a", b"7.9", True)
    assert oxygen(brewing) == []
    assert [item.payload["payload"] for item in brewing.notebook.kept("late value")] == ["7.9"]
    assert "no time of their own" in listener.says
    timed = json.dumps({"value": 7.7, "unit": "mg/L", "at": brewing.clock().isoformat()})
    listener._take(settings, "a", timed.encode(), True)
    assert oxygen(brewing) == [7.7]


def test_a_value_that_the_broker_retained_is_no_value_of_now(brewing: Shed) -> None:
    """MQTT 3.1.1, 3.3.1.3: what is retained is sent at each new subscription, however old, with RETAIN set to 1."""
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)
    settings = BrokerSettings(host="x", topics=(Topic(topic="a", place="barrel", channel="oxygen", unit="mg/L"),))
    for payload, retain in ((b"2.0", True), (b"7.9", False)):
        listener._waiting.put(SimpleNamespace(topic="a", payload=payload, mid=1, qos=1, retain=retain))
    listener._waiting.put(None)
    listener._work(settings, SimpleNamespace(ack=lambda *_: None))
    assert oxygen(brewing) == [7.9]
    assert [item.payload["payload"] for item in brewing.notebook.kept("late value")] == ["2.0"]


def test_topics_are_read_line_by_line() -> None:
    assert topics_from("a/b | barrel | oxygen | mg/L\n\n")[0]["channel"] == "oxygen"
    for bad in ("a/b | barrel | oxygen", "a/# | barrel | oxygen | mg/L", "a | b | mood | mg/L"):
        with pytest.raises(UnusableRecord):
            topics_from(bad)


def test_the_broker_is_set_from_the_page_and_its_password_is_never_shown(brewing: Shed) -> None:
    answer = brewing.post(
        "/settings/broker",
        host="127.0.0.1",
        port=str(free_port()),
        user="tea",
        broker_password="leafmould",
        topics="a/b | barrel | oxygen | mg/L",
    )
    assert answer.status_code == 303
    assert "leafmould" not in brewing.client.get("/settings").text
    assert brewing.state.get("broker")["password"] == "leafmould"
    assert brewing.post("/settings/broker", host="").status_code == 303


def test_probes_by_hand_count_from_the_start(brewing: Shed) -> None:
    usecases.brews.record_probe(
        brewing.notebook,
        "barrel-1",
        usecases.brews.ProbeTyped(channel="pH", value="6,8", unit="pH", when="2"),
        now=brewing.clock(),
    )
    assert brewing.notebook.log("barrel-1", "pH")[0].tolist() == [2.0]
    assert START.hour == 8
