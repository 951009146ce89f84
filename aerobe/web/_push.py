"""Notices on a device that is asleep: alarms sent through the push service of its browser.

A device asks for notices and names where they go; the message is encrypted for that device alone, so the service that carries it
learns when something was sent and not what. The keys that sign belong to this notebook's app; a device that is shut out is told
nothing more. The curve, the key derivation and the cipher are those of the library `cryptography`.
"""

from __future__ import annotations

import ipaddress
import json
import os
import socket
import struct
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from aerobe.errors import NotAllowed, UnusableRecord
from aerobe.web._alarm_settings import require_web_address
from aerobe.web._alarms import Alarm
from aerobe.web._pairing import is_idle
from aerobe.web._roles import HELPER, OWNER, VIEWER
from aerobe.web._state import WebState

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

LONGEST = 3000  # of a message; services take 4096 with all that is around it (RFC 8030, section 7.2) [B]
RECORD = 4096  # size of the one record [B]
SIGNED_FOR = timedelta(hours=12)  # a signature may not last longer than a day (RFC 8292, section 2)
KEPT_BY_SERVICE_S = 4 * 3600  # an alarm that could not be delivered for so long is no news any more [s]
OF_ONE_DEVICE = 5
NOT_PUBLIC = ("localhost", "local", "internal", "lan", "home", "arpa", "invalid", "test")
GONE = (404, 410)  # the service knows the subscription no more (RFC 8030, section 7.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subscription:
    """Where notices of one device go, and the keys that it gave for them."""

    device: str  # empty on this machine
    endpoint: str
    p256dh: str  # its public key, 65 bytes in base64url
    auth: str  # its secret, 16 bytes in base64url

    def __post_init__(self) -> None:
        require_push_endpoint(self.endpoint)
        from cryptography.hazmat.primitives.asymmetric import ec

        try:
            ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), plain_bytes(self.p256dh))
            usable = len(plain_bytes(self.auth)) == 16
        except (ValueError, TypeError):
            usable = False
        if not usable:
            raise UnusableRecord("The browser sent keys that cannot be used.", "Ask for notices again on the device.")


@dataclass(frozen=True, slots=True, kw_only=True)
class PushRequest:
    """What is posted to the push service."""

    endpoint: str
    headers: dict[str, str]
    body: bytes


def require_push_endpoint(text: str) -> None:
    """Refuse what is no public push service: the device names it, and this machine will call it.

    Raises
    ------
    UnusableRecord
        If it is no https address of a public name.
    """
    require_web_address(text)
    found = urlsplit(text)
    host = (found.hostname or "").rstrip(".").lower()
    if (
        found.scheme != "https"
        or found.port not in (None, 443)
        or found.username is not None
        or "." not in host
        or host.rsplit(".", 1)[-1] in NOT_PUBLIC
        or _is_address(host)
    ):
        raise UnusableRecord(
            "Notices go to push services with a public https address only.", "Ask for notices again with another browser."
        )


def _is_address(host: str) -> bool:
    if host.rsplit(".", 1)[-1].isdigit():
        return True
    try:
        ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return False
    return True


def addresses_of(host: str) -> list[str]:
    """The addresses that a name stands for now."""
    return [str(item[4][0]) for item in socket.getaddrinfo(host, 443, type=socket.SOCK_STREAM)]


def plain_bytes(text: str) -> bytes:
    """Bytes of base64url without its padding."""
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def _written(content: bytes) -> str:
    return urlsafe_b64encode(content).rstrip(b"=").decode()


def encrypted(message: bytes, *, p256dh: bytes, auth: bytes, sender: EllipticCurvePrivateKey, salt: bytes) -> bytes:
    """A message that only the device can read, as one record of `aes128gcm`.

    Parameters
    ----------
    message
        At most `LONGEST`. [B]
    p256dh, auth
        Public key and secret of the device, 65 and 16 bytes.
    sender
        A key made for this message alone.
    salt
        16 bytes, for this message alone.

    Source
    ------
    rfc-8291
    """
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    def derived(secret: bytes, salted: bytes, info: bytes, length: int) -> bytes:
        return HKDF(algorithm=hashes.SHA256(), length=length, salt=salted, info=info).derive(secret)

    shared = sender.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), p256dh))
    public = _point(sender)
    secret = derived(shared, auth, b"WebPush: info\x00" + p256dh + public, 32)
    key = derived(secret, salt, b"Content-Encoding: aes128gcm\x00", 16)
    nonce = derived(secret, salt, b"Content-Encoding: nonce\x00", 12)
    # The one record is the last one: its end is marked by a 2.
    return salt + struct.pack("!IB", RECORD, len(public)) + public + AESGCM(key).encrypt(nonce, message + b"\x02", None)


def _point(key: EllipticCurvePrivateKey) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def signed(endpoint: str, key: EllipticCurvePrivateKey, *, now: datetime, contact: str) -> str:
    """The header that tells a push service who sends, and that it is the one whom the device asked.

    Source
    ------
    rfc-8292
    """
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature

    to = urlsplit(endpoint)
    claims = {"aud": f"{to.scheme}://{to.netloc}", "exp": int((now + SIGNED_FOR).timestamp()), "sub": contact}
    head = _written(json.dumps({"typ": "JWT", "alg": "ES256"}, separators=(",", ":")).encode())
    text = f"{head}.{_written(json.dumps(claims, separators=(',', ':')).encode())}"
    r, s = decode_dss_signature(key.sign(text.encode(), ec.ECDSA(hashes.SHA256())))
    return f"vapid t={text}.{_written(r.to_bytes(32, 'big') + s.to_bytes(32, 'big'))}, k={_written(_point(key))}"


class Notices:
    """Who gets notices, and the sending of them. What devices asked for is kept in the app's own memory."""

    def __init__(self, state: WebState, clock: Callable[[], datetime]) -> None:
        self.state, self.clock = state, clock

    def key(self) -> EllipticCurvePrivateKey:
        """The key that signs for this notebook; made when it is first asked for."""
        from cryptography.hazmat.primitives.asymmetric import ec

        kept = self.state.get("push").get("private", "")
        if not kept:
            made = f"{ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value:064x}"
            # Two that ask at once get the same key.
            kept = self.state.change("push", lambda old: old if old.get("private") else {"private": made})["private"]
        return ec.derive_private_key(int(kept, 16), ec.SECP256R1())

    def public_key(self) -> str:
        """What a browser wants to know of it."""
        return _written(_point(self.key()))

    def add(self, device: str, asked: Any) -> None:
        """Take in what a browser says of its subscription.

        Raises
        ------
        UnusableRecord
            If it cannot be used.
        NotAllowed
            If the device has too many.
        """
        keys = asked.get("keys") if isinstance(asked, dict) else None
        parts = [asked.get("endpoint"), keys.get("p256dh"), keys.get("auth")] if isinstance(keys, dict) else []
        texts = [item for item in parts if isinstance(item, str)]
        if len(texts) != 3:
            raise UnusableRecord("The browser did not say where notices go.", "Ask for notices again on the device.")
        made = Subscription(device=device, endpoint=texts[0], p256dh=texts[1], auth=texts[2])
        if sum(item.device == device and item.endpoint != made.endpoint for item in self._kept()) >= OF_ONE_DEVICE:
            raise NotAllowed("This device asked for notices too often.", "Stop them there, and ask once more.")
        line = {"device": device, "endpoint": made.endpoint, "p256dh": made.p256dh, "auth": made.auth}
        line["since"] = self.clock().isoformat()
        self.state.change("pushes", lambda kept: [*(item for item in kept if item["endpoint"] != made.endpoint), line])

    def end(self, device: str, endpoint: str = "") -> None:
        """Tell a device nothing more, or nothing more by one way."""
        self.state.change(
            "pushes",
            lambda kept: [item for item in kept if item["device"] != device or endpoint not in ("", item["endpoint"])],
        )

    def subscriptions(self, device: str | None = None) -> list[Subscription]:
        """Those that are told now: of devices that are let in and may see brews; of one device if it is named."""
        roles = {item["id"]: item.get("role", HELPER) for item in self.state.get("devices") if not is_idle(item, self.clock())}
        roles[""] = OWNER
        return [
            item for item in self._kept() if roles.get(item.device) in (OWNER, HELPER, VIEWER) and device in (None, item.device)
        ]

    def ways(self) -> dict[str, Callable[[tuple[Alarm, ...]], None]]:
        """One way of telling for each subscription."""
        return {f"notice {item.endpoint}": partial(self.tell, item) for item in self.subscriptions()}

    def _kept(self) -> list[Subscription]:
        return [
            Subscription(**{name: item[name] for name in ("device", "endpoint", "p256dh", "auth")})
            for item in self.state.get("pushes")
        ]

    def request(self, to: Subscription, told: dict[str, str]) -> PushRequest:
        """What is posted for one notice."""
        from cryptography.hazmat.primitives.asymmetric import ec

        message = json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()
        if len(message) > LONGEST:
            raise UnusableRecord("The notice is too long.", "Open the page: it says all.")
        body = encrypted(
            message,
            p256dh=plain_bytes(to.p256dh),
            auth=plain_bytes(to.auth),
            sender=ec.generate_private_key(ec.SECP256R1()),
            salt=os.urandom(16),
        )
        contact = self.state.get("alarms").get("mail_to") or "owner@aerobe.invalid"
        headers = {
            "authorization": signed(to.endpoint, self.key(), now=self.clock(), contact=f"mailto:{contact}"),
            "content-encoding": "aes128gcm",
            "content-type": "application/octet-stream",
            "ttl": str(KEPT_BY_SERVICE_S),
            "urgency": "high",
        }
        return PushRequest(endpoint=to.endpoint, headers=headers, body=body)

    def tell(self, to: Subscription, alarms: Iterable[Alarm]) -> None:
        """Send alarms to one device, one notice a brew. A subscription that the service knows no more is forgotten.

        Raises
        ------
        OSError
            If the service could not be reached, or would not take it.
        """
        by_brew: dict[tuple[str, str], list[str]] = {}
        for alarm in alarms:
            by_brew.setdefault((alarm.brew, alarm.brew_name), []).append(alarm.says)
        for (brew, name), says in by_brew.items():
            told = {"title": name, "body": " ".join(says)[:600], "url": f"/brews/{brew}" if brew else "/", "tag": brew or name}
            self.send(to, told)

    def send(self, to: Subscription, told: dict[str, str]) -> None:
        """Send one notice to one device."""
        require_public(to.endpoint)
        status = post(self.request(to, told))
        if status in GONE:
            self.end(to.device, to.endpoint)
        elif status >= 300:
            raise OSError(f"the push service answered {status}")


def require_public(endpoint: str) -> None:
    """Refuse a name that stands for an address of this network, whoever made it so.

    Raises
    ------
    OSError
        If it does, or stands for nothing.
    """
    host = urlsplit(endpoint).hostname or ""
    if not all(ipaddress.ip_address(item.split("%")[0]).is_global for item in addresses_of(host)):
        raise OSError(f"{host} is no public address")


def post(request: PushRequest, *, trusted: Any = True) -> int:
    """Post to the push service; gives the status of its answer. `trusted` is what its certificate is checked by.

    Raises
    ------
    OSError
        If it could not be reached.
    """
    import httpx

    try:
        with httpx.stream(
            "POST",
            request.endpoint,
            content=request.body,
            headers=request.headers,
            timeout=httpx.Timeout(8.0),
            follow_redirects=False,
            verify=trusted,
        ) as got:
            return got.status_code
    except (httpx.HTTPError, httpx.InvalidURL) as fault:
        raise OSError(str(fault) or type(fault).__name__) from fault
