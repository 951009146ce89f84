"""Alarms: when oxygen is forecast to cross the floor or a probe fails, on the page and, if wanted, beyond it."""

from __future__ import annotations

import logging
import smtplib
import ssl
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.message import EmailMessage
from functools import partial

from aerobe import usecases
from aerobe.errors import UnusableRecord
from aerobe.records import Brew
from aerobe.web._alarm_settings import AlarmSettings, is_quiet

LOG = logging.getLogger("aerobe.web")
AHEAD = timedelta(hours=6)  # a crossing further away than this is no alarm yet
LIKELY = 0.2  # nor one that is less likely [-]
CALL_AT_MOST_S = 20.0  # an address that takes longer is no way to tell anybody [s]
MAIL_STEP_S = 10.0  # for each answer of a mail server [s]
TLS_FROM_THE_START = 465  # the port on which a mail server speaks TLS before anything else (RFC 8314)
AGAIN_AFTER = timedelta(hours=2)  # the same alarm is not sent more often


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """Something to look at now."""

    brew: str
    brew_name: str
    kind: str  # "oxygen low", "oxygen ahead", or a trouble of a probe
    says: str
    at: datetime
    urgent: bool  # also in quiet hours


def alarms_for(
    brew: Brew,
    *,
    call: usecases.brews.Call | None,
    oxygen: usecases.brews.OxygenNow | None,
    troubles: Iterable[usecases.brews.ProbeTrouble],
    now: datetime,
) -> tuple[Alarm, ...]:
    """What is wrong with one brew now: `call` in words or None, `oxygen` of its card, `troubles` of its probes."""
    found = []
    floor = brew.aim.oxygen_floor_mg_per_l
    if oxygen is not None and oxygen.minutes_ago < 60.0 and oxygen.mg_per_l < floor:
        found.append(
            Alarm(
                brew=brew.key,
                brew_name=brew.name,
                kind="oxygen low",
                at=now,
                urgent=True,
                says=f"Oxygen is {oxygen.mg_per_l:.1f} mg/L, below the floor of {floor:g}. More air, or harvest.",
            )
        )
    elif (
        call is not None
        and call.crosses_at is not None
        and call.crosses_at - now <= AHEAD
        and call.crossing_probability >= LIKELY
    ):
        soon = call.crosses_at - now <= timedelta(hours=1)
        says = f"{call.oxygen_says} {call.stand_in}".strip()
        found.append(Alarm(brew=brew.key, brew_name=brew.name, kind="oxygen ahead", says=says, at=now, urgent=soon))
    found += [
        Alarm(
            brew=brew.key,
            brew_name=brew.name,
            kind=f"{item.channel} probe {item.kind}",
            says=f"{item.problem} {item.remedy}",
            at=now,
            urgent=False,
        )
        for item in troubles
    ]
    return tuple(found)


Way = Callable[[tuple[Alarm, ...]], None]  # tells alarms, or raises


class Dispatch:
    """Sends what has not been sent, and holds it back in quiet hours. Each way remembers for itself what went out by it.

    `devices` names the ways to devices that asked for notices.
    """

    def __init__(self, devices: Callable[[], dict[str, Way]] = dict) -> None:
        self._devices = devices
        self._sent: dict[tuple[str, str, str], datetime] = {}
        self.says = ""
        self._sending: threading.Thread | None = None
        self._hanging: dict[str, threading.Thread] = {}

    def send_beside(self, alarms: tuple[Alarm, ...], settings: AlarmSettings, *, now: datetime) -> None:
        """Send in a thread of its own: a server that drips its answer holds up nobody but itself."""
        if not alarms:
            return
        if self._sending is not None and self._sending.is_alive():
            self.says = self.says or "the last alarm is still being sent; the other side is slow"
            return
        self._sending = threading.Thread(
            target=self.send, args=(alarms, settings), kwargs={"now": now}, name="aerobe-alarms", daemon=True
        )
        self._sending.start()

    def due(self, alarms: tuple[Alarm, ...], settings: AlarmSettings, *, now: datetime) -> tuple[Alarm, ...]:
        """Which alarms should go out now. What ended is forgotten after a while, so that it can be raised again."""
        standing = {(alarm.brew, alarm.kind) for alarm in alarms}
        self._sent = {name: at for name, at in self._sent.items() if name[1:] in standing or abs(now - at) < AGAIN_AFTER}
        quiet = is_quiet(settings, now)
        ways = list(self._ways(settings))
        return tuple(
            alarm
            for alarm in alarms
            if any(self._is_news(way, alarm, now) for way in ways)
            and (not quiet or (alarm.urgent and settings.urgent_breaks_quiet))
        )

    def send(self, alarms: tuple[Alarm, ...], settings: AlarmSettings, *, now: datetime) -> None:
        """Send by every way that is set. A way that fails is said, and tried again with the next look."""
        faults = []
        for name, tell in self._ways(settings).items():
            news = tuple(alarm for alarm in alarms if self._is_news(name, alarm, now))
            if not news:
                continue
            try:
                self._within(name, partial(tell, news))
            except Exception as fault:  # whatever a foreign server or address does, the watch goes on and the page says it
                kind = name.split()[0]
                faults.append(f"{kind}: {fault}")
                LOG.warning("alarm by %s failed: %s", kind, fault)
            else:
                self._sent |= {(name, alarm.brew, alarm.kind): now for alarm in news}
        self.says = "; ".join(faults)

    def _ways(self, settings: AlarmSettings) -> dict[str, Way]:
        ways: dict[str, Way] = {}
        if settings.mail_to:
            ways["mail"] = lambda alarms: _mail(alarms, settings)
        if settings.webhook:
            ways["webhook"] = lambda alarms: _call(alarms, settings)
        return ways | self._devices()

    def _is_news(self, way: str, alarm: Alarm, now: datetime) -> bool:
        last = self._sent.get((way, alarm.brew, alarm.kind))
        return last is None or abs(now - last) >= AGAIN_AFTER  # a clock set back must not silence it

    def _within(self, name: str, way: Callable[[], None]) -> None:
        """Go a way of telling, and leave it if it takes too long: a server that drips its answer must not silence the others."""
        before = self._hanging.get(name)
        if before is not None and before.is_alive():
            raise OSError("the other side still has not answered the last one")
        caught: list[Exception] = []

        def go() -> None:
            try:
                way()
            except Exception as fault:
                caught.append(fault)

        going = self._hanging[name] = threading.Thread(target=go, name=f"aerobe-{name}", daemon=True)
        going.start()
        going.join(CALL_AT_MOST_S)
        if going.is_alive():
            raise OSError("it takes too long to answer")
        if caught:
            raise caught[0]


def _mail(alarms: tuple[Alarm, ...], settings: AlarmSettings) -> None:
    message = EmailMessage()
    message["Subject"] = f"Aerobe: {alarms[0].brew_name}: {alarms[0].kind}"
    message["From"] = settings.mail_from or settings.mail_to
    message["To"] = settings.mail_to
    message.set_content("\n\n".join(f"{alarm.brew_name}: {alarm.says}" for alarm in alarms))
    whole = settings.mail_port == TLS_FROM_THE_START
    trusted = ssl.create_default_context()
    kind = partial(smtplib.SMTP_SSL, context=trusted) if whole else smtplib.SMTP
    with kind(settings.mail_host, settings.mail_port, timeout=MAIL_STEP_S) as server:
        server.ehlo()
        if not whole and server.has_extn("starttls"):
            server.starttls(context=trusted)
            server.ehlo()
        elif not whole and settings.mail_user:
            raise UnusableRecord(
                "The mail server offers no encryption, so the password is not sent.", "Use another server or port."
            )
        if settings.mail_user:
            server.login(settings.mail_user, settings.mail_password)
        server.send_message(message)


def _call(alarms: tuple[Alarm, ...], settings: AlarmSettings) -> None:
    import httpx

    told = [
        {"brew": alarm.brew, "name": alarm.brew_name, "kind": alarm.kind, "says": alarm.says, "at": alarm.at.isoformat()}
        for alarm in alarms
    ]
    try:
        # The answer's head is enough; a body may drip for ever and is not read.
        with httpx.stream(
            "POST", settings.webhook, json={"alarms": told}, timeout=httpx.Timeout(8.0), follow_redirects=False
        ) as got:
            if got.status_code >= 400:
                raise OSError(f"the address answered {got.status_code}")
    except (httpx.HTTPError, httpx.InvalidURL) as fault:
        raise OSError(str(fault) or type(fault).__name__) from fault
