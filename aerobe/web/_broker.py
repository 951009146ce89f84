"""Probes that publish over MQTT: read topic by topic, coming back after every loss of the broker."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from aerobe import usecases
from aerobe.errors import AerobeError, UnusableRecord
from aerobe.web._live import Live
from aerobe.web._points import batches_from

LOG = logging.getLogger("aerobe.web")
RETRY_S = (1.0, 2.0, 5.0, 10.0, 30.0)


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


class Broker:
    """The listening itself. `says` is shown under Settings."""

    def __init__(self, notebook: usecases.notebook.Notebook, live: Live, clock: Callable[[], datetime]) -> None:
        self.notebook, self.live, self.clock = notebook, live, clock
        self.says = "No broker is set."
        self._task: asyncio.Task[None] | None = None

    async def use(self, settings: BrokerSettings | None) -> None:
        """Listen to this broker from now on, or to none."""
        await self.stop()
        if settings is None or not settings.topics:
            self.says = "No broker is set." if settings is None else "No topic is set."
            return
        self._task = asyncio.create_task(self._listen(settings), name="aerobe-mqtt")

    async def stop(self) -> None:
        """Listen no more."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None

    async def _listen(self, settings: BrokerSettings) -> None:
        import aiomqtt

        losses = 0
        while True:
            try:
                async with aiomqtt.Client(
                    settings.host, settings.port, username=settings.user or None, password=settings.password or None, timeout=10
                ) as client:
                    for item in settings.topics:
                        await client.subscribe(item.topic, qos=1)
                    losses, self.says = 0, f"Listening to {settings.host}."
                    async for message in client.messages:
                        await asyncio.to_thread(self._take, settings, str(message.topic), bytes(message.payload or b""))
            except aiomqtt.MqttError as fault:
                wait = RETRY_S[min(losses, len(RETRY_S) - 1)]
                losses += 1
                self.says = f"The broker {settings.host} is away ({fault}); trying again."
                await asyncio.sleep(wait)

    def _take(self, settings: BrokerSettings, topic: str, payload: bytes) -> None:
        for item in settings.topics:
            if item.topic != topic:
                continue
            try:
                for batch in batches_from(payload, "", channel=item.channel, unit=item.unit):
                    usecases.brews.take_points(
                        self.notebook,
                        place=item.place,
                        channel=batch.channel,
                        unit=batch.unit,
                        points=batch.points,
                        now=self.clock(),
                        probe=topic[-80:],
                    )
                self.live.tell("brew", usecases.brews.brew_at(self.notebook, item.place, now=self.clock()).key)
            except AerobeError as fault:
                # One bad message must not end the listening; the last one is shown under Settings.
                self.says = f"Listening to {settings.host}. Last refused, on {topic}: {fault}"
                LOG.warning("mqtt %s: %s", topic, fault)
