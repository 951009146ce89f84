"""`aerobe serve`: the app on this machine, or on the local network with pairing."""

from __future__ import annotations

from typing import Annotated

from cyclopts import Parameter

from aerobe.cli._common import NOTEBOOK, Where, now, own_notebook


def serve(
    *,
    notebook: NOTEBOOK = "",
    port: Annotated[int, Parameter(help="For HTTP; HTTPS takes the next one.")] = 8470,
    share: Annotated[bool, Parameter(help="Also serve paired devices of the local network.")] = False,
    https: Annotated[
        bool, Parameter(negative="--no-https", help="Offer HTTPS when sharing; phones keep pages only over it.")
    ] = True,
) -> None:
    """Serve the notebook as an app. Without --share nothing beyond this machine is served.

    With --share a code is printed and drawn; a phone gets in with it once. Everything stays on the local network.
    """
    from aerobe.web import plan_serving
    from aerobe.web import serve as run

    with Where(notebook=notebook).open() as book:
        book.store.require_sound()  # before anything is written into a file that does not hang together
        plan = plan_serving(
            notebook_path=book.store.path,
            home=own_notebook().parent,
            port=port,
            share=share,
            https=https,
            now=now(),
            identity=book.store.identity,
        )
        run(book, plan, say=lambda words: print(words, flush=True))
