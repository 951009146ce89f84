"""Probes that publish over MQTT: read topic by topic, coming back after every loss of the broker."""

from __future__ import annotations

import asyncio
import itertools
import logging
import queue
import ssl
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from aerobe import usecases
from aerobe.errors import AerobeError, NotebookFault, UnusableReading, UnusableRecord
from aerobe.web._live import Live
from aerobe.web._points import batches_from

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
    from paho.mqtt.reasoncodes import ReasonCode

LOG = logging.getLogger("aerobe.web")
RETRY_AT_MOST_S = 5  # between two looks for a broker that is away [s]
STORE_RETRY_S = (0.2, 1.0, 3.0)  # between two tries to write [s]
BACKLOG_S = 5.0  # what comes this soon after a connection may have waited at the broker [s]
PAYLOAD_BYTES = 5_000_000
WAITING_AT_MOST = 10_000  # messages that nobody is told of if they get lost
LATE_AFTER_S = 600.0  # after a longer absence the arrival of a value says nothing of its time [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """What a topic's numbers are, and where they belong."""

    topic: str
    place: str  # key of a vessel or a brew
    channel: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """A broker and the topics that are read from it."""

    host: str
    port: int = 1883
    user: str = ""
    password: str = ""
    tls: bool = False
    topics: tuple[Topic, ...] = ()


def broker_settings(kept: dict[str, Any]) -> BrokerSettings | None:
    """From the app's memory; None while no broker is set."""
    if not kept.get("host"):
        return None
    return BrokerSettings(
        host=kept["host"],
        port=int(kept.get("port", 1883)),
        user=kept.get("user", ""),
        password=kept.get("password", ""),
        tls=bool(kept.get("tls", False)),
        topics=tuple(Topic(**item) for item in kept.get("topics", ())),
    )


def topics_from(text: str) -> list[dict[str, str]]:
    """Topics as a person writes them, one a line: `shed/barrel2/do | barrel-2 | oxygen | mg/L`.

    Raises
    ------
    UnusableRecord
        If a line has not four parts.
    """
    found = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        parts = [part.strip() for part in line.split("|")]
        if len(parts) != 4 or not all(parts):
            raise UnusableRecord(f"'{line}' has not four parts.", "Write: topic | vessel or brew | channel | unit")
        if parts[2] not in usecases.brews.KINDS_OF_CHANNELS:
            raise UnusableRecord(f"'{parts[2]}' is no channel.", f"Use one of: {', '.join(usecases.brews.KINDS_OF_CHANNELS)}.")
        if any(mark in parts[0] for mark in "#+\0"):
            raise UnusableRecord(f"'{parts[0]}' names many topics.", "Write one line for each topic, without # or +.")
        found.append(dict(zip(("topic", "place", "channel", "unit"), parts, strict=True)))
    return found


def _why(fault: BaseException | None) -> str:
    """Why a broker cannot be reached, in words."""
    if isinstance(fault, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {fault.verify_message}"
    if isinstance(fault, ssl.SSLError):
        return "it does not speak TLS on this port"
    return "it does not answer"


class Broker:
    """The listening itself. `says` is shown under Settings.

    The session at the broker outlives this app and the line: what is published meanwhile, with quality of service 1, comes
    afterwards. A message is acknowledged only when its value is in the notebook, so that a crash between loses nothing; it
    then comes again, and the notebook adds no point twice.
    """

    def __init__(
        self, notebook: usecases.notebook.Notebook, live: Live, clock: Callable[[], datetime], *, name: str = "aerobe"
    ) -> None:
        self.notebook, self.live, self.clock, self.name = notebook, live, clock, name
        self.says = "No broker is set."
        self._client: Client | None = None
        self._waiting: queue.Queue[MQTTMessage | None] = queue.Queue()
        self._worker: threading.Thread | None = None
        self._stopping = threading.Event()
        self._met = 0.0  # when the last connection was made, on the steady clock [s]
        self._lost: float | None = None  # when it was lost; None if this app was not listening before [s]
        self._has_session = False

    async def use(self, settings: BrokerSettings | None) -> None:
        """Listen to this broker from now on, or to none."""
        await self.stop()
        if settings is None or not settings.topics:
            self.says = "No broker is set." if settings is None else "No topic is set."
            return
        await asyncio.to_thread(self._begin, settings)

    async def stop(self) -> None:
        """Listen no more; the broker keeps what comes meanwhile."""
        await asyncio.to_thread(self._end)

    def _begin(self, settings: BrokerSettings) -> None:
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion

        self._stopping.clear()
        self._waiting = queue.Queue()
        client = Client(CallbackAPIVersion.VERSION2, client_id=self.name, clean_session=False, manual_ack=True)
        if settings.user:
            client.username_pw_set(settings.user, settings.password or None)
        if settings.tls:
            client.tls_set()
        client.reconnect_delay_set(1, RETRY_AT_MOST_S)
        client.on_connect = lambda client, _data, flags, reason, _more: self._connected(settings, client, flags, reason)
        client.on_disconnect = lambda *_: self._away(settings, "the line was lost")
        client.on_connect_fail = lambda *_: self._away(settings, _why(sys.exc_info()[1]))
        client.on_message = lambda _client, _data, message: self._hear(message)
        self.says = f"Looking for {settings.host}."
        self._client = client
        self._worker = threading.Thread(target=self._work, args=(settings, client), name="aerobe-mqtt-keep", daemon=True)
        self._worker.start()
        try:
            client.connect_async(settings.host, settings.port, keepalive=30)
            client.loop_start()
        except (OSError, ValueError) as fault:
            self.says = f"The broker {settings.host} cannot be used: {fault}."

    def _end(self) -> None:
        client, worker = self._client, self._worker
        self._client = self._worker = None
        if client is None:
            return
        self._stopping.set()
        self._waiting.put(None)
        client.disconnect()
        client.loop_stop()
        if worker is not None:
            worker.join(5.0)

    def _connected(self, settings: BrokerSettings, client: Client, flags: ConnectFlags, reason: ReasonCode) -> None:
        if reason.is_failure:
            self.says = f"The broker {settings.host} does not let us in: {reason}."
            return
        self._met, self._has_session = time.monotonic(), bool(flags.session_present)
        client.subscribe([(item.topic, 1) for item in settings.topics])
        self.says = f"Listening to {settings.host}."

    def _away(self, settings: BrokerSettings, why: str) -> None:
        if self._client is None:
            return
        if self._lost is None or self._lost < self._met:
            self._lost = time.monotonic()
        self.says = f"The broker {settings.host} is away ({why}); trying again."

    def _hear(self, message: MQTTMessage) -> None:
        """What is acknowledged is bounded by the broker; of what is not, a flood must not fill the memory."""
        if message.qos or self._waiting.qsize() < WAITING_AT_MOST:
            self._waiting.put(message)

    def _work(self, settings: BrokerSettings, client: Client) -> None:
        """Writes what came, one message after the other, each until the store has taken it."""
        while not self._stopping.is_set():
            message = self._waiting.get()
            if message is None:
                return
            # What a broker retains, it sends again at each connection, however old: it is no value of now.
            late = self._came_late() or bool(message.retain)
            for wait in itertools.chain(STORE_RETRY_S, itertools.repeat(STORE_RETRY_S[-1])):
                try:
                    self._take(settings, message.topic, bytes(message.payload or b""), late)
                except NotebookFault as fault:
                    # Not acknowledged: the broker sends it again if this app goes before the store is free.
                    self.says = f"Listening to {settings.host}. The notebook cannot be written just now: {fault.problem}"
                    if self._stopping.wait(wait):
                        return
                    continue
                except Exception:
                    # A bug of ours: what was measured is kept as it came, before the broker forgets it.
                    LOG.exception("a message on %s could not be taken in", message.topic)
                    try:
                        self._keep_apart("", message.topic, bytes(message.payload or b""))
                    except NotebookFault:
                        if self._stopping.wait(wait):
                            return
                        continue
                break
            client.ack(message.mid, message.qos)

    def _came_late(self) -> bool:
        """Whether a message may have waited at the broker so long that its arrival says nothing of its time."""
        if not self._has_session or time.monotonic() - self._met > BACKLOG_S:
            return False
        return self._lost is None or self._met - self._lost > LATE_AFTER_S

    def _take(self, settings: BrokerSettings, topic: str, payload: bytes, late: bool) -> None:
        for item in settings.topics:
            if item.topic != topic:
                continue
            try:
                if len(payload) > PAYLOAD_BYTES:
                    problem = f"A message of {len(payload) / 1e6:.0f} MB is no value of a probe."
                    raise UnusableReading(problem, f"Send at most {PAYLOAD_BYTES // 1_000_000} MB at once.")
                brew = usecases.brews.brew_at(self.notebook, item.place, now=self.clock()).key
                for batch in batches_from(payload, "", channel=item.channel, unit=item.unit):
                    timed = [point for point in batch.points if point.at is not None]
                    if late and len(timed) < len(batch.points):
                        self._set_apart(brew, topic, payload)
                    points = tuple(timed) if late else batch.points
                    if not points:
                        continue
                    usecases.brews.take_points(
                        self.notebook,
                        place=item.place,
                        channel=batch.channel,
                        unit=batch.unit,
                        points=points,
                        now=self.clock(),
                        probe=topic[-80:],
                    )
                self.live.tell("brew", brew)
            except NotebookFault:
                raise
            except AerobeError as fault:
                # One bad message must not end the listening; the last one is shown under Settings.
                self.says = f"Listening to {settings.host}. Last refused, on {topic}: {fault}"
                LOG.warning("mqtt %s: %s", topic, fault)

    def _keep_apart(self, brew: str, topic: str, payload: bytes) -> None:
        told = {"topic": topic[-200:], "payload": payload[:2000].decode("utf-8", "replace")}
        self.notebook.keep("late value", brew, told, at=self.clock(), who=topic[-80:])

    def _set_apart(self, brew: str, topic: str, payload: bytes) -> None:
        # It waited for nobody knows how long: in the log it would stand at a time that is made up.
        self._keep_apart(brew, topic, payload)
        self.says = (
            f"{self.says.split(' Values on')[0]} Values on {topic} waited at the broker and carry no time of their own: they are "
            "kept apart from the log. Let the sender write the time beside each value."
        )
