"""The app on a real port, spoken to over bare sockets, so that a connection can be cut anywhere."""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

from aerobe.web._serve import make_server
from tests.ports import free_port
from tests.reliability.forms import Form
from tests.reliability.world import World, open_world

HANDLED_S = 300.0  # a guard against waiting for ever: a busy machine takes long for a trial


@dataclass
class Wire:
    """One app and the way to it."""

    world: World
    port: int
    complaints: list[str]  # what the server wrote into its log

    def request(self, form: Form, *, entry: str, json_answer: bool = False) -> bytes:
        """The bytes that a browser sends for a form."""
        form = self.world.settled(form)
        fields = {**form.fields, "form_token": self.world.token, "entry": entry}
        cookie = "; ".join(f"{name}={value}" for name, value in self.world.client.cookies.items())
        headers = {"x-aerobe-form": self.world.token, "cookie": cookie, "connection": "close"}
        if json_answer:
            headers["accept"] = "application/json"
        with httpx.Client(verify=False) as client:  # nothing is sent by it: certificates need not be read
            asked = client.build_request(
                "POST",
                f"http://localhost:{self.port}{form.address}",
                data=None if form.body else fields,
                json=form.body,
                headers=headers,
                files={form.file[0]: form.file[1:]} if form.file else None,
            )
            body = asked.read()
        lines = [f"POST {form.address} HTTP/1.1", *(f"{name}: {value}" for name, value in asked.headers.items())]
        return "\r\n".join(lines).encode() + b"\r\n\r\n" + body

    def cut_before(self, request: bytes, share: float) -> None:
        """Send a part of a request, then cut the line."""
        with self._line() as line:
            line.sendall(request[: max(1, int(share * len(request)) - 1)])

    def cut_after(self, request: bytes) -> int:
        """Send a request whole and cut the line as the answer comes: nobody reads it. Gives its status, which nobody saw."""
        with self._line() as line:
            line.sendall(request)
            return _status(line.recv(12))

    def send(self, request: bytes) -> tuple[int, str]:
        """Send a request and read the answer: status and the rest."""
        with self._line() as line:
            line.sendall(request)
            answer = b""
            while part := line.recv(65536):
                answer += part
        return _status(answer), answer.decode("utf-8", errors="replace")

    @contextmanager
    def _line(self) -> Iterator[socket.socket]:
        line = socket.create_connection(("127.0.0.1", self.port), timeout=HANDLED_S)
        try:
            yield line
        finally:
            # With this, closing is a cut and no goodbye.
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
            line.close()


class _Log(logging.Handler):
    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(f"{record.getMessage()} {record.exc_info and record.exc_info[1]!r}")


def _status(answer: bytes) -> int:
    return int(answer[9:12])


@contextmanager
def wired(folder: Path) -> Iterator[Wire]:
    """A world with a server on a port of this machine."""
    with open_world(folder) as world:
        port = free_port()
        server = make_server(world.app, host="127.0.0.1", port=port, log_level="error", lifespan="off")
        log = _Log()
        logging.getLogger("uvicorn.error").addHandler(log)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            assert thread.is_alive(), log.said
            time.sleep(0.01)
        try:
            yield Wire(world=world, port=port, complaints=log.said)
        finally:
            logging.getLogger("uvicorn.error").removeHandler(log)
            server.should_exit = True
            thread.join(HANDLED_S)
