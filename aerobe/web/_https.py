"""HTTPS on the local network: a phone keeps pages for use without connection only over a connection it trusts.

A small authority is made, signs one certificate for this machine's names and addresses, and its key is then thrown
away. A phone that trusts the authority therefore trusts this machine and nothing else, now and later.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

LIVES = timedelta(days=397)  # the longest that browsers take from public authorities (CA/Browser Forum ballot SC22, from memory)
RENEW = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpsCertificate:
    """Files for the server, and the authority's certificate for the phone."""

    chain: Path
    key: Path
    authority: Path


def local_addresses() -> tuple[str, ...]:
    """Addresses of this machine on its networks, loopback left out. Asks nothing of anybody."""
    found = set()
    for family, probe in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with socket.socket(family, socket.SOCK_DGRAM) as way:
            try:
                way.connect((probe, 9))  # documentation addresses: choosing a route sends no packet
                found.add(way.getsockname()[0])
            except OSError:
                continue
    with contextlib.suppress(OSError):
        found |= {str(item[4][0]) for item in socket.getaddrinfo(socket.gethostname(), None)}
    return tuple(sorted(item for item in found if "%" not in item and not ipaddress.ip_address(item).is_loopback))


def local_names() -> tuple[str, ...]:
    """Names under which the local network may know this machine."""
    name = socket.gethostname().split(".")[0].lower()
    return (name, f"{name}.local") if name and name != "localhost" else ()


def covered(addresses: tuple[str, ...], names: tuple[str, ...]) -> list[str]:
    """What the certificate speaks for: this machine's names and addresses, and no other machine's.

    When a router gives the machine another address, a new certificate is made and the phone trusts anew; the name ending in
    `.local` stays the same.
    """
    return list(dict.fromkeys(["localhost", "127.0.0.1", "::1", *names, *addresses]))


def local_certificate(
    folder: Path, *, now: datetime, addresses: tuple[str, ...] | None = None, names: tuple[str, ...] | None = None
) -> HttpsCertificate:
    """The certificate kept in `folder`, made anew when it is missing, nearly over, or does not cover this machine."""
    import trustme

    addresses = local_addresses() if addresses is None else addresses
    names = local_names() if names is None else names
    kept = HttpsCertificate(
        chain=folder / "aerobe-server.pem", key=folder / "aerobe-server.key", authority=folder / "aerobe-authority.pem"
    )
    if _still_good(kept, now, addresses):
        return kept
    folder.mkdir(parents=True, exist_ok=True)
    authority = trustme.CA(
        organization_name="Aerobe on this machine", organization_unit_name="Its key was thrown away", path_length=0
    )
    server = authority.issue_cert(*covered(addresses, names), not_before=now - timedelta(days=1), not_after=now + LIVES)
    _write(kept.key, server.private_key_pem.bytes(), 0o600)
    _write(kept.chain, b"".join(item.bytes() for item in server.cert_chain_pems), 0o644)
    _write(kept.authority, authority.cert_pem.bytes(), 0o644)
    return kept


def _still_good(kept: HttpsCertificate, now: datetime, addresses: tuple[str, ...]) -> bool:
    from cryptography import x509

    if not all(path.exists() for path in (kept.chain, kept.key, kept.authority)):
        return False
    try:
        found = x509.load_pem_x509_certificate(kept.chain.read_bytes())
    except ValueError:
        return False
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    speaks_for = {str(item) for item in names.get_values_for_type(x509.IPAddress)}
    moment = now.astimezone(UTC)  # a clock that was ahead made a certificate that is not valid yet
    return found.not_valid_before_utc <= moment < found.not_valid_after_utc - RENEW and set(addresses) <= speaks_for


def _write(path: Path, content: bytes, mode: int) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
