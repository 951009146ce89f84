"""HTTPS of the local network: a device that trusts the authority trusts this machine, and nothing else."""

from __future__ import annotations

import ssl
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import httpx

from aerobe.web._https import covered, local_certificate

NOW = datetime.now(UTC)


def test_a_phone_that_trusts_the_authority_gets_through_and_another_does_not(tmp_path: Path) -> None:
    made = local_certificate(tmp_path, now=NOW, addresses=("192.168.7.12",), names=("shed.local",))

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.chain, made.key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"https://localhost:{server.server_port}/"
    assert httpx.get(address, verify=ssl.create_default_context(cafile=str(made.authority)), timeout=240).status_code == 204
    try:
        httpx.get(address, verify=ssl.create_default_context(), timeout=240)
        raise AssertionError("a stranger's device trusted it")
    except httpx.ConnectError as fault:
        assert "CERTIFICATE_VERIFY_FAILED" in str(fault)
    server.shutdown()


def test_the_authoritys_key_is_thrown_away_and_the_servers_is_private(tmp_path: Path) -> None:
    made = local_certificate(tmp_path, now=NOW, addresses=("192.168.7.12",), names=())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["aerobe-authority.pem", "aerobe-server.key", "aerobe-server.pem"]
    assert b"PRIVATE KEY" not in made.authority.read_bytes()
    assert made.key.stat().st_mode & 0o077 == 0


def test_it_is_kept_until_it_nears_its_end_or_the_machine_moves(tmp_path: Path) -> None:
    def serial(now: datetime, address: str) -> bytes:
        return local_certificate(tmp_path, now=now, addresses=(address,), names=()).chain.read_bytes()

    first = serial(NOW, "192.168.7.12")
    assert serial(NOW + timedelta(days=300), "192.168.7.12") == first
    moved = serial(NOW, "10.0.0.5")
    assert moved != first
    assert serial(NOW + timedelta(days=380), "10.0.0.5") != moved


def test_the_certificate_speaks_for_this_machine_only() -> None:
    assert set(covered(("192.168.7.12",), ("shed.local",))) == {"localhost", "127.0.0.1", "::1", "shed.local", "192.168.7.12"}
