"""Broker and mail over TLS: a certificate that can be checked is, and whoever shows another one gets no password and no alarm."""

from __future__ import annotations

import asyncio
import contextlib
import socketserver
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import trustme

from aerobe.web import _alarms
from aerobe.web._alarms import AlarmSettings, Dispatch
from aerobe.web._broker import PAYLOAD_BYTES, WAITING_AT_MOST, Broker, BrokerSettings, Topic
from tests.ports import free_port
from tests.web.conftest import START, Shed
from tests.web.test_alarms import LOW
from tests.web.test_probes import PATIENCE_S, mosquitto, oxygen, until, wait_for_broker

TOPICS = (Topic(topic="shed/do", place="barrel", channel="oxygen", unit="mg/L"),)


@pytest.fixture
def authority(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> trustme.CA:
    """An authority that this machine trusts."""
    made = trustme.CA()
    made.cert_pem.write_to_path(tmp_path / "authority.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    return made


@contextlib.contextmanager
def broker(folder: Path, port: int, certificate: trustme.LeafCert) -> Iterator[None]:
    """A real broker that speaks TLS."""
    assert mosquitto is not None
    chain, key = folder / "chain.pem", folder / "key.pem"
    chain.write_bytes(b"".join(item.bytes() for item in certificate.cert_chain_pems))
    certificate.private_key_pem.write_to_path(key)
    for item in (folder, chain, key):
        item.chmod(0o755 if item.is_dir() else 0o644)  # it gives up its rights before it reads them
    config = folder / "mosquitto.conf"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\ncertfile {chain}\nkeyfile {key}\n")
    process = subprocess.Popen([mosquitto, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for_broker(process, port)
        yield
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


@pytest.mark.broker
@pytest.mark.skipif(mosquitto is None, reason="mosquitto is not installed")
@pytest.mark.parametrize(
    ("name", "trusted", "says"),
    [
        ("127.0.0.1", True, "Listening"),
        ("127.0.0.1", False, "certificate is not trusted"),
        ("other.example", True, "certificate is not trusted"),
    ],
)
def test_a_broker_is_believed_by_its_certificate(
    brewing: Shed, tmp_path: Path, authority: trustme.CA, name: str, trusted: bool, says: str
) -> None:
    from paho.mqtt.publish import single

    port = free_port()
    certificate = (authority if trusted else trustme.CA()).issue_cert(name)
    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)
    settings = BrokerSettings(host="127.0.0.1", port=port, topics=TOPICS, tls=True, user="me", password="secret")

    async def walk() -> None:
        with broker(tmp_path, port, certificate):
            await listener.use(settings)
            await until(lambda: says in listener.says)
            if says == "Listening":
                tls = {"ca_certs": str(tmp_path / "authority.pem")}
                await asyncio.to_thread(single, "shed/do", "7.9", qos=1, hostname="127.0.0.1", port=port, tls=tls)
                await until(lambda: oxygen(brewing) == [7.9])
            await listener.stop()

    asyncio.run(walk())


def test_a_message_that_is_no_value_and_a_flood_are_bounded(brewing: Shed) -> None:
    class Told:
        topic, qos, payload, mid = "shed/do", 0, b"7", 1

    listener = Broker(brewing.notebook, brewing.app.state.live, brewing.clock)
    for _ in range(WAITING_AT_MOST + 50):
        listener._hear(Told())  # type: ignore[arg-type]
    assert listener._waiting.qsize() == WAITING_AT_MOST
    listener._take(BrokerSettings(host="x", topics=TOPICS), "shed/do", b" " * (PAYLOAD_BYTES + 1), False)
    assert "MB is no value" in listener.says


@contextlib.contextmanager
def mail_server(certificate: trustme.LeafCert) -> Iterator[tuple[int, list[str]]]:
    """Enough of RFC 5321 over TLS (RFC 8314) to hear who writes."""
    heard: list[str] = []
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    certificate.configure_cert(context)

    class Handler(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            with contextlib.suppress(OSError), context.wrap_socket(self.request, server_side=True) as line:
                stream = line.makefile("rwb", buffering=0)
                stream.write(b"220 test\r\n")
                while asked := stream.readline():
                    heard.append(asked.decode().strip().upper())
                    if asked.upper().startswith(b"DATA"):
                        stream.write(b"354 go\r\n")
                        while stream.readline() != b".\r\n":
                            pass
                    stream.write(b"221 bye\r\n" if asked.upper().startswith(b"QUIT") else b"250 ok\r\n")

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1], heard
        server.shutdown()


@pytest.mark.parametrize(
    ("name", "trusted", "sent"), [("127.0.0.1", True, True), ("127.0.0.1", False, False), ("a.example", True, False)]
)
def test_a_mail_server_is_believed_by_its_certificate(
    monkeypatch: pytest.MonkeyPatch, authority: trustme.CA, name: str, trusted: bool, sent: bool
) -> None:
    with mail_server((authority if trusted else trustme.CA()).issue_cert(name)) as (port, heard):
        monkeypatch.setattr(_alarms, "TLS_FROM_THE_START", port)
        dispatch, settings = Dispatch(), AlarmSettings(mail_to="me@tea.example", mail_host="127.0.0.1", mail_port=port)
        dispatch.send((LOW,), settings, now=START)
    assert any(line.startswith("DATA") for line in heard) is sent
    assert ("certificate" in dispatch.says.lower()) is not sent


def test_an_answer_that_drips_for_ever_is_left_and_silences_no_other_way(monkeypatch: pytest.MonkeyPatch) -> None:
    going, told = threading.Event(), []
    within = Dispatch._within

    def patient(self: Dispatch, name: str, way: Callable[[], None]) -> None:
        monkeypatch.setattr(_alarms, "CALL_AT_MOST_S", PATIENCE_S if name == "mail" else 0.05)  # only one of them drips
        within(self, name, way)

    monkeypatch.setattr(Dispatch, "_within", patient)
    monkeypatch.setattr(_alarms, "_call", lambda *_: going.wait(PATIENCE_S))
    monkeypatch.setattr(_alarms, "_mail", lambda alarms, _: told.append(alarms))
    settings = AlarmSettings(mail_to="me@tea.example", mail_host="mail.example", webhook="http://drips.example/")
    dispatch = Dispatch()
    dispatch.send((LOW,), settings, now=START)
    assert len(told) == 1 and "too long" in dispatch.says
    dispatch.send((replace(LOW, kind="another"),), settings, now=START)
    assert len(told) == 2 and "still has not answered" in dispatch.says
    going.set()


def test_a_message_that_a_bug_of_ours_does_not_take_in_is_kept_as_it_came(brewing: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    class Told:
        topic, qos, payload, mid, retain = "shed/do", 1, b"7.9", 1, False

    class Client:
        def __init__(self) -> None:
            self.acknowledged: list[int] = []

        def ack(self, mid: int, qos: int) -> None:
            self.acknowledged.append(mid)

    def burst(*_: object, **__: object) -> object:
        raise RuntimeError("a bug")

    monkeypatch.setattr("aerobe.usecases.brews.take_points", burst)
    listener, client = Broker(brewing.notebook, brewing.app.state.live, brewing.clock), Client()
    listener._hear(Told())  # type: ignore[arg-type]
    listener._waiting.put(None)
    listener._work(BrokerSettings(host="x", topics=TOPICS), client)  # type: ignore[arg-type]
    assert [item.payload["payload"] for item in brewing.notebook.kept("late value")] == ["7.9"] and client.acknowledged == [1]
