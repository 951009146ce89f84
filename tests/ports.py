"""A port of this machine for one test: nobody else takes it between its finding and its use, nor while its server is away."""

from __future__ import annotations

import itertools
import os
import socket

# Below those that systems give to outgoing connections, which would take a port that was only found free.
FIRST, LAST = 20_000, 32_000
_held: list[socket.socket] = []
_next = itertools.count(os.getpid() * 7)


def free_port() -> int:
    """A TCP port that is free, and this process's own as long as it lives: the mark is the UDP port of the same number."""
    for number in itertools.islice(_next, LAST - FIRST):
        port = FIRST + number % (LAST - FIRST)
        mark = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            mark.bind(("127.0.0.1", port))
            with socket.socket() as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # one that was served just now still counts as free
                probe.bind(("127.0.0.1", port))
        except OSError:
            mark.close()
            continue
        _held.append(mark)
        return port
    raise AssertionError("every port for tests is taken on this machine")
