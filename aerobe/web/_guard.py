"""The gate in front of every page: who may come in, how much, how often, and what a browser may do with the answer."""

from __future__ import annotations

import asyncio
import ipaddress
import re
import time
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterator
from urllib.parse import parse_qsl, quote

from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from aerobe.web._answers import HEADERS, NOT_PAIRED, answer, redirect
from aerobe.web._bodies import Listener, NoRoom, TooMuch, limited, until_answered
from aerobe.web._pairing import IDLE_AT_MOST, Pairing
from aerobe.web._roles import OWNER, Access, may
from aerobe.web._session import A_YEAR_S, SESSION_COOKIE
from aerobe.web._turns import PAGES_AT_ONCE, PAGES_WAITING, Busy, Gone, Turns, is_heavy, is_page

DEVICE_COOKIE = "aerobe_device"
OPEN_TO_STRANGERS = ("/pair", "/static/", "/log/")  # /log/ asks for a sender's token itself
# A probe may not know TLS, and the authority must be fetched before it can be trusted.
PLAIN_HTTP = ("/log/", "/pair/authority.crt")
# Put in by whatever hands a request on; a browser on this machine sends none of them.
PASSED_ON = ("forwarded", "via", "x-real-ip", "x-client-ip", "x-cluster-client-ip", "true-client-ip", "cf-connecting-ip")
PASSED_ON_BEGINS = ("x-forwarded", "x-original-forwarded", "x-envoy-external")
FORWARDED = "handed on"
HOST = re.compile(r"([A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\])(:[0-9]{1,5})?")  # RFC 9110, 7.2: a name or an address, and a port
FORM_BYTES = 1_000_000
UPLOAD_BYTES = 60_000_000
UPLOADS = ("/data/", "/log/", "/photo", "/readings")
TOO_MUCH = ("That is more than can be taken in here.", "Send a smaller file, or split it.")
ARRIVING_OF_ONE, ARRIVING_AT_MOST = 8, 24  # files for heavy work on their way at one time


class Bucket:
    """So many requests at once, so many a second after that, for each address. The oldest addresses are forgotten."""

    def __init__(self, *, burst: float, per_s: float, clock: Callable[[], float] = time.monotonic, remember: int = 4096) -> None:
        self.burst, self.per_s, self.clock, self.remember = burst, per_s, clock, remember
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, who: str) -> bool:
        """Whether `who` may send one more now."""
        now = self.clock()
        left, at = self._left.pop(who, (self.burst, now))
        left = min(self.burst, left + (now - at) * self.per_s)
        allowed = left >= 1.0
        self._left[who] = (left - 1.0 if allowed else left, now)
        while len(self._left) > self.remember:
            self._left.popitem(last=False)
        return allowed


class Guard:
    """ASGI layer around the whole app."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        pairing: Pairing,
        turns: Turns | None = None,
        names: tuple[str, ...] = (),
        secure_port: int | None = None,
        burst: float = 400.0,
        per_s: float = 120.0,
    ) -> None:
        self.app = app
        self.pairing = pairing
        self.secure_port = secure_port
        self.names = {"localhost", *(name.lower() for name in names)}
        self.requests = Bucket(burst=burst, per_s=per_s)
        self.pairings = Bucket(burst=5, per_s=1 / 60)
        self.turns = turns if turns is not None else Turns()
        self.pages = Turns(at_once=PAGES_AT_ONCE, waiting_at_most=PAGES_WAITING, share=PAGES_WAITING)
        self.arriving = Counter[str]()  # addresses whose files for heavy work are on their way

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        who = _asks(scope, headers)
        elsewhere = self._secure_address(scope, headers, who)
        if elsewhere:
            await redirect(send, elsewhere)
            return
        refusal = self._refusal(scope, headers, who)
        if refusal is not None:
            await answer(send, *refusal, wants_json="json" in headers.get("accept", ""))
            return
        renewed = await self._note_access(scope, headers, who)
        limit = UPLOAD_BYTES if any(part in scope["path"] for part in UPLOADS) else FORM_BYTES
        if _length(headers) > limit:
            await answer(
                send,
                413,
                f"More than {limit // 1_000_000} MB cannot be taken in here.",
                "Send a smaller file, or split it.",
                wants_json="json" in headers.get("accept", ""),
            )
            return
        scope["state"]["aerobe_who"] = who
        heavy = is_heavy(scope["method"], scope["path"])
        passed_on = _with_headers(scope, send, renewed, self.pairing.cookie)
        if not heavy and not is_page(scope["method"], scope["path"]):
            await self.app(scope, limited(receive, limit), passed_on)
            return
        listener = Listener(limited(receive, limit))
        try:
            if scope["method"] not in ("GET", "HEAD"):
                # A file that drips in must not hold a place meanwhile.
                await self._whole(listener, who)
            async with (self.turns if heavy else self.pages).turn(who, listener.gone) as done:
                await self.app(scope, listener.receive, until_answered(passed_on, done))
        except Gone:
            return
        except TooMuch:
            await answer(send, 413, *TOO_MUCH, wants_json="json" in headers.get("accept", ""))
        except NoRoom as fault:
            remedy = "Free some space on the disk for temporary files, then send it again."
            problem = f"The file has no room on the machine that runs Aerobe: {fault}."
            await answer(send, 503, problem, remedy, wants_json="json" in headers.get("accept", ""))
        except Busy:
            problem = f"Aerobe is working on {self.turns.waiting} other reports and files."
            remedy = "Nothing is lost: ask again in a minute."
            await answer(send, 503, problem, remedy, wants_json="json" in headers.get("accept", ""))
        finally:
            listener.close()

    async def _whole(self, listener: Listener, who: str) -> None:
        """Wait for all of what is sent."""
        if self.arriving[who] >= ARRIVING_OF_ONE or self.arriving.total() >= ARRIVING_AT_MOST:
            raise Busy
        self.arriving[who] += 1
        try:
            await listener.whole()
        finally:
            self.arriving[who] -= 1
            self.arriving += Counter()

    def _access(self, headers: dict[str, str], who: str) -> Access | None:
        if is_this_machine(who):
            return Access(role=OWNER)
        return next((found for _, found in self._paired(headers)), None)

    def _paired(self, headers: dict[str, str]) -> Iterator[tuple[str, Access]]:
        """The tokens of a request that belong to a device of this app."""
        for token in device_tokens(headers, self.pairing.cookie):
            found = self.pairing.access_of(token)
            if found is not None:
                yield token, found

    async def _note_access(self, scope: Scope, headers: dict[str, str], who: str) -> str:
        """Put who asks beside the request; gives the token whose cookie is to be renewed, or nothing."""
        access = self._access(headers, who)
        scope.setdefault("state", {})["aerobe_access"] = access or Access(role="")
        if access is None or not access.device:
            return ""
        token = next((token for token, _ in self._paired(headers)), "")
        return token if await asyncio.to_thread(self.pairing.saw, access.device) else ""

    def _secure_address(self, scope: Scope, headers: dict[str, str], who: str) -> str:
        """Where a page asked for without encryption is to be had with it; empty if it may go on as it is."""
        path: str = scope["path"]
        if self.secure_port is None or scope["scheme"] == "https" or is_this_machine(who) or path.startswith(PLAIN_HTTP):
            return ""
        if not self._known_name(headers.get("host", "")):
            return ""  # the refusal says why
        query = scope.get("query_string", b"").decode("latin-1")
        return f"https://{_host_name(headers.get('host', ''))}:{self.secure_port}{quote(path)}{'?' + query if query else ''}"

    def _refusal(self, scope: Scope, headers: dict[str, str], who: str) -> tuple[int, str, str] | None:
        if not self._known_name(headers.get("host", "")):
            return 421, "This app was called by a name it does not know.", "Use the address that 'aerobe serve' printed."
        if "transfer-encoding" in headers and "content-length" in headers:
            # Two lengths: whatever stands before this app may have read the other one (RFC 9112, 6.1).
            return 400, "This request says two different lengths.", "Send it again, with one of them."
        if not self.requests.take(who):
            return 429, "Too many requests at once.", "Wait a few seconds and try again."
        path, method = scope["path"], scope["method"]
        if not is_this_machine(who) and path.startswith("/pair") and method == "POST" and not self.pairings.take(who):
            return 429, "Too many attempts to pair.", "Wait a minute, then show a new code on the first device."
        access = self._access(headers, who)
        if access is None:
            if path.startswith(OPEN_TO_STRANGERS):
                return None
            return 403, NOT_PAIRED, "Scan the code under Settings on the machine that runs Aerobe."
        query = dict(parse_qsl(scope.get("query_string", b"").decode("latin-1")))
        if not path.startswith(OPEN_TO_STRANGERS) and not may(access, method, path, query):
            return 403, f"A {access.role} may not do this.", "Ask the owner of the notebook, who can change that under Settings."
        return None

    def _known_name(self, host: str) -> bool:
        # A foreign name that points at this machine could let a strange page read the notebook (DNS rebinding).
        if not HOST.fullmatch(host):
            return False
        name = _host_name(host).strip("[]").lower()
        if name in self.names:
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def device_tokens(headers: dict[str, str], cookie: str) -> tuple[str, ...]:
    """Tokens that a device may hold: in this app's own cookie, and in the one that earlier releases gave for all apps."""
    sent = cookie_parser(headers.get("cookie", ""))
    return tuple(token for name in (cookie, DEVICE_COOKIE) if (token := sent.get(name, "")) and token.isascii())


def _asks(scope: Scope, headers: dict[str, str]) -> str:
    """The address that asks. What came through something else on this machine does not come from its owner."""
    who: str = (scope.get("client") or ("", 0))[0]
    handed_on = any(name in PASSED_ON or name.startswith(PASSED_ON_BEGINS) for name in headers)
    return FORWARDED if handed_on and is_this_machine(who) else who


def _host_name(host: str) -> str:
    return host[: host.index("]") + 1] if host.startswith("[") and "]" in host else host.rsplit(":", 1)[0]


def is_this_machine(who: str) -> bool:
    """Whether an address is the machine's own loop."""
    try:
        address = ipaddress.ip_address(who)
    except ValueError:
        return who == "testclient"
    mapped = getattr(address, "ipv4_mapped", None)
    return bool((mapped or address).is_loopback)


def _length(headers: dict[str, str]) -> int:
    text = headers.get("content-length", "0")
    return int(text) if text.isascii() and text.isdigit() else 0


def _with_headers(scope: Scope, send: Send, renewed: str, device: str) -> Send:
    static = scope["path"].startswith("/static/") and b"v=" in scope.get("query_string", b"")

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = message.setdefault("headers", [])
            present = {name for name, _ in headers}
            headers += [(name, value) for name, value in HEADERS if name not in present]
            if static:
                headers.append((b"cache-control", b"public, max-age=31536000, immutable"))
            elif b"cache-control" not in present:
                headers.append((b"cache-control", b"private, no-cache"))
            session = scope.get("state", {}).get("aerobe_session")
            if session and session not in dict(scope["headers"]).get(b"cookie", b"").decode("latin-1"):
                secure = "; Secure" if scope["scheme"] == "https" else ""
                cookie = f"{SESSION_COOKIE}={session}; Max-Age={A_YEAR_S}; Path=/; HttpOnly; SameSite=Lax{secure}"
                headers.append((b"set-cookie", cookie.encode()))
            if renewed:
                secure = scope["scheme"] == "https"
                headers.append((b"set-cookie", device_cookie(device, renewed, secure=secure).encode()))
        await send(message)

    return sent


def device_cookie(cookie: str, token: str, *, secure: bool) -> str:
    """The cookie that names a paired device; it lives as long as a device may stay away."""
    tail = "; Secure" if secure else ""
    return f"{cookie}={token}; Max-Age={int(IDLE_AT_MOST.total_seconds())}; Path=/; HttpOnly; SameSite=Lax{tail}"
