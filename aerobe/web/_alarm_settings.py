"""Where alarms go beside the page, and when they keep quiet: what can be set, and what is refused."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from datetime import datetime, time
from urllib.parse import urlsplit

from aerobe.errors import UnusableRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSettings:
    """Where alarms go beside the page. Nothing leaves this machine unless one of these is filled in."""

    mail_to: str = ""
    mail_from: str = ""
    mail_host: str = ""
    mail_port: int = 587
    mail_user: str = ""
    mail_password: str = ""
    webhook: str = ""
    quiet_from: str = ""  # "22:00"
    quiet_to: str = ""
    urgent_breaks_quiet: bool = True

    def __post_init__(self) -> None:
        for text in (self.quiet_from, self.quiet_to):
            if text:
                clock_time(text)
        if bool(self.quiet_from) != bool(self.quiet_to):
            raise UnusableRecord("Quiet hours need a beginning and an end.", "Fill in both, or neither.")
        if self.webhook:
            require_web_address(self.webhook)
        if self.mail_host:
            require_host(self.mail_host)
        if self.mail_to and ("@" not in self.mail_to or not self.mail_host):
            raise UnusableRecord("Mail needs an address and a mail server.", "Fill in both, or leave the address empty.")
        if any(mark in self.mail_to + self.mail_from for mark in "\r\n"):
            raise UnusableRecord("A mail address cannot have several lines.", "Write one address.")


def require_web_address(text: str) -> None:
    """Refuse what no program could call.

    Raises
    ------
    UnusableRecord
        If it is no http or https address with a usable host and port.
    """
    try:
        found = urlsplit(text)
        port = found.port
    except ValueError:
        found, port = urlsplit(""), None
    if found.scheme not in ("http", "https") or not found.hostname or len(text) > 400 or not text.isprintable() or " " in text:
        raise UnusableRecord("The address to call is no web address.", "Begin it with http:// or https://, and name a host.")
    require_host(found.hostname)
    if port == 0:
        raise UnusableRecord("The address to call has no usable port.", "Leave the port out, or name one from 1 to 65535.")


def require_host(text: str) -> None:
    """Refuse a name that no machine can have: empty or overlong parts, signs that end a line.

    Raises
    ------
    UnusableRecord
        If it is neither a name nor an address.
    """
    try:
        ipaddress.ip_address(text.strip("[]"))
    except ValueError:
        try:
            name = text.encode("idna").decode("ascii")
        except UnicodeError:
            name = ""
        if not re.fullmatch(
            r"(?=.{1,253}$)([A-Za-z0-9_]([A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?)(\.[A-Za-z0-9_]([A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?)*\.?",
            name,
        ):
            raise UnusableRecord(
                f"'{text[:60]}' is no name of a machine.", "Write it as mail.example.org, or as an address such as 192.168.1.20."
            ) from None


def clock_time(text: str) -> time:
    """`22:00`."""
    try:
        return time.fromisoformat(text.strip().zfill(5))
    except ValueError:
        raise UnusableRecord(f"'{text}' is no clock time.", "Write hours and minutes, such as 22:00.") from None


def is_quiet(settings: AlarmSettings, now: datetime) -> bool:
    """Whether this is an hour in which only urgent alarms go out."""
    if not settings.quiet_from:
        return False
    begin, end, clock = clock_time(settings.quiet_from), clock_time(settings.quiet_to), now.time()
    return begin <= clock < end if begin <= end else clock >= begin or clock < end
