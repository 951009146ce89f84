"""Running the app: to this machine only, or to the local network with pairing and HTTPS."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aerobe.errors import NotAllowed
from aerobe.web._app import create_app
from aerobe.web._doors import Door, Listening, Seldom, protocol_of, shorten_handshakes
from aerobe.web._https import HttpsCertificate, local_addresses, local_certificate, local_names
from aerobe.web._memory import share_heaps
from aerobe.web._pairing import spelled
from aerobe.web._serve_settings import ServeSettings
from aerobe.web._state import open_state

if TYPE_CHECKING:
    from aerobe.usecases.notebook import Notebook

Say = Callable[[str], None]
KEEP_ALIVE_S = 75  # that an open line may rest between two requests [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class ServePlan:
    """Where the app is served, worked out before anything starts."""

    port: int
    secure_port: int | None  # of HTTPS; None without
    hosts: tuple[str, ...]  # addresses that are listened on
    address: str  # what a phone opens; empty if not shared
    certificate: HttpsCertificate | None
    folder: Path  # the app's memory and photos, beside the notebook


def plan_serving(
    *, notebook_path: Path | None, home: Path, port: int, share: bool, https: bool, now: datetime, identity: str = "notebook"
) -> ServePlan:
    """Where and how to serve.

    Parameters
    ----------
    notebook_path
        The notebook's file; None for a server's database, then the app's memory lies in `home`.
    home
        The person's own folder.
    port
        For HTTP; HTTPS takes the next one.
    share
        Also to the local network. Without it nothing beyond this machine is served.
    https
        Offer HTTPS when sharing: needed by phones to keep pages for use without connection.
    identity
        What tells a server's database from another: devices, photos and secrets belong to one notebook.

    Raises
    ------
    NotAllowed
        If the machine is on no network.
    """
    folder = notebook_path.with_name(notebook_path.name + ".app") if notebook_path is not None else home / "app" / identity
    if not share:
        return ServePlan(port=port, secure_port=None, hosts=("127.0.0.1",), address="", certificate=None, folder=folder)
    reached = [item for item in local_addresses() if ":" not in item]
    if not reached:
        raise NotAllowed("This machine is on no network: there is nobody to share with.", "Join a network, or leave out --share.")
    certificate = local_certificate(folder, now=now) if https else None
    scheme, shown = ("https", port + 1) if certificate is not None else ("http", port)
    return ServePlan(
        port=port,
        secure_port=port + 1 if certificate is not None else None,
        hosts=("0.0.0.0",),
        address=f"{scheme}://{reached[0]}:{shown}",
        certificate=certificate,
        folder=folder,
    )


def serve(notebook: Notebook, plan: ServePlan, *, say: Say) -> None:
    """Serve until interrupted.

    Raises
    ------
    NotAllowed
        If the port is taken.
    """
    try:
        _take_over(plan.folder)
        plan.folder.mkdir(parents=True, exist_ok=True)
        plan.folder.chmod(0o700)
    except OSError as fault:
        raise NotAllowed(
            f"The app's folder {plan.folder} cannot be made: {fault.strerror}.",
            "The app keeps devices and photos there: free some space, or copy the notebook to a disk that can be written to.",
        ) from None
    settings = ServeSettings(
        names=local_names(),
        address=plan.address,
        secure_port=plan.secure_port,
        photos=plan.folder / "photos",
        authority=plan.certificate.authority if plan.certificate is not None else None,
    )
    share_heaps()
    app = create_app(notebook, state=open_state(plan.folder / "app.json"), settings=settings)
    door = Door()
    places = [[_listen(host, plan.port, door) for host in plan.hosts]]
    if plan.secure_port is not None:
        places.append([_listen(plan.hosts[0], plan.secure_port, door)])
    say(f"On this machine: http://localhost:{plan.port}")
    if plan.address:
        offer = app.state.pairing.offer()
        say(f"On a phone in the same network: {plan.address}/pair with the code {spelled(offer.code)} (once, for ten minutes)")
        _draw_code(f"{plan.address}/pair?code={offer.code}", say)
    else:
        say("Nothing beyond this machine is served. For a phone: aerobe serve --share")
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(_run(app, plan, places))


def _take_over(folder: Path) -> None:
    """What an earlier release kept for all databases together goes to the first one that is served."""
    old = folder.parent
    if old.name != "app" or folder.exists() or not (old / "app.json").exists():
        return
    folder.mkdir(parents=True)
    for name in ("app.json", "photos", "aerobe-server.pem", "aerobe-server.key", "aerobe-authority.pem"):
        if (old / name).exists():
            (old / name).rename(folder / name)


def make_server(app: Any, **how: Any) -> Any:
    """A uvicorn server that lets go of listening pages when it stops."""
    import uvicorn

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            app.state.live.close()
            await super().shutdown(sockets)

    return Server(uvicorn.Config(app, **how))


def server_settings() -> dict[str, Any]:
    """What all doors of the app have in common."""
    return {
        "log_level": "warning",
        "server_header": False,
        "timeout_graceful_shutdown": 3,
        # A probe that sends once a minute over one line would else meet its closing now and then, as a reset connection.
        "timeout_keep_alive": KEEP_ALIVE_S,
        "http": protocol_of(),
        "proxy_headers": False,  # nobody's word for an address is taken
        "ws": "none",
    }


async def _run(app: Any, plan: ServePlan, places: list[list[Listening]]) -> None:
    # The first server carries the app's own tasks; the second only opens another door to the same app.
    shorten_handshakes(asyncio.get_running_loop())
    logging.getLogger("uvicorn.error").addFilter(Seldom())
    common = server_settings()
    servers = [make_server(app, lifespan="on", **common)]
    if plan.certificate is not None and plan.secure_port is not None:
        files = {"ssl_certfile": str(plan.certificate.chain), "ssl_keyfile": str(plan.certificate.key)}
        servers.append(make_server(app, lifespan="off", **files, **common))
    running = [asyncio.create_task(server.serve(sockets=at)) for server, at in zip(servers, places, strict=True)]
    # The first that ends (Ctrl+C, a fault) ends the others.
    await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
    for server in servers:
        server.should_exit = True
    await asyncio.gather(*running)


def _listen(host: str, port: int, door: Door) -> Listening:
    try:
        return Listening.at(host, port, door)
    except OSError:
        raise NotAllowed(
            f"Port {port} is taken: perhaps Aerobe runs already.", f"Open it, or choose another: --port {port + 10}."
        ) from None


def _draw_code(text: str, say: Say) -> None:
    import io

    import segno

    drawn = io.StringIO()
    segno.make(text, error="m").terminal(out=drawn, compact=True)
    say(drawn.getvalue())
