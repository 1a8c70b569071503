"""What listens at the address of a scheduler is asked who it is before dask is let at it."""

from __future__ import annotations

import importlib
import importlib.util
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from contactfe.errors import ContactFEError
from contactfe.parallel import DaskCluster
from contactfe.parallel.cluster import _there
from contactfe.parallel.greeting import expect_scheduler

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("distributed") is None, reason="without the extra cluster"
)
THREE_GIB = (3 << 30).to_bytes(8, "little")


@contextmanager
def listener(says: bytes) -> Iterator[str]:
    """The address of something that says `says` to whoever comes, and then waits."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        held: list[socket.socket] = []

        def serve() -> None:
            try:
                while True:
                    line, _ = server.accept()
                    held.append(line)
                    line.sendall(says)
            except OSError:
                return

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield f"tcp://127.0.0.1:{server.getsockname()[1]}"
        server.shutdown(socket.SHUT_RDWR)
        thread.join(5.0)
        for line in held:
            line.close()


@pytest.mark.parametrize(
    "says",
    [b"HTTP/1.1 400 Bad Request\r\n\r\n", THREE_GIB + b"x" * 99, (99).to_bytes(8, "little") + b"x" * 99],
    ids=["web server", "three gibibytes", "a short message"],
)
def test_a_stranger_is_no_scheduler(says: bytes) -> None:
    with listener(says) as address, pytest.raises(ContactFEError, match="is not a dask scheduler"):
        expect_scheduler(address, 2.0)


def test_one_that_says_nothing_is_not_waited_for() -> None:
    with listener(b"") as address, pytest.raises(ContactFEError, match="no scheduler answers: timed out"):
        expect_scheduler(address, 0.2)


@pytest.mark.parametrize(
    ("address", "message"),
    [
        ("tls://127.0.0.1:9", "an encrypted connection needs certificates"),
        ("tcp://127.0.0.1:99999", "no scheduler answers: no address of that form"),
        ("tcp://...:80", "no scheduler answers"),
        ("ftp://127.0.0.1:80", "is not the address of a scheduler"),
        ("tcp://" + "m" * 16_000 + ":1", "is not the address of a scheduler"),
    ],
)
def test_addresses_that_lead_nowhere_are_named_errors(address: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(ContactFEError, match=message) as caught:
        DaskCluster(address, 1, tmp_path)
    assert len(str(caught.value)) < 400


CLIENT = importlib.import_module("distributed.client")
# What waiting for futures and asking for their results raise when the scheduler is killed; older versions have the first.
GONE = [name for name in ("CancelledError", "FuturesCancelledError") if hasattr(CLIENT, name)]


@pytest.mark.parametrize("name", GONE or ["CancelledError"])
def test_a_scheduler_that_has_gone_is_a_named_error(name: str) -> None:
    gone = getattr(CLIENT, name)
    lost = gone([]) if name == "FuturesCancelledError" else gone("lost")
    with pytest.raises(ContactFEError, match="the scheduler went away"), _there():
        raise lost
