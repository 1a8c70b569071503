"""Is it a scheduler that listens at an address? Asked before dask is let at it, which would take whatever length the
first bytes of a stranger spell out as that of a message, and make room for it."""

from __future__ import annotations

import importlib
import re
import socket
import ssl
from contextlib import ExitStack

from contactfe.errors import ContactFEError

_MOST = 65_536  # bytes of a greeting; dask's has a few hundred
_WORD = b"pickle-protocol"  # stands in every greeting of dask
_PARTS = re.compile(r"(tcp|tls)://\[?([^\[\]]+)\]?:(\d+)")


def expect_scheduler(address: str, patience: float) -> None:
    """Return when a dask scheduler greets at an address, ``tcp://host:port`` or ``tls://host:port``.

    Raises:
        ContactFEError: nobody answers within `patience` seconds, what answers is no scheduler, or there are no
            certificates for an encrypted connection.
    """
    found = _PARTS.fullmatch(address)
    if found is None or not 0 < int(found[3]) < 65_536:
        raise _nobody(address, "no address of that form")
    scheme, host, port = found[1], found[2], int(found[3])
    context = _certificates(address) if scheme == "tls" else None
    try:
        with ExitStack() as stack:
            line = stack.enter_context(socket.create_connection((host, port), timeout=patience))
            if context is not None:
                line = stack.enter_context(context.wrap_socket(line, server_hostname=host))
            greeted = _WORD in _greeting(line)
    except (OSError, UnicodeError) as error:  # UnicodeError: no name of a host
        raise _nobody(address, " ".join(str(error).split())) from error
    if not greeted:
        raise ContactFEError(
            "what listens there is not a dask scheduler",
            where=address,
            hint=f"write {scheme}://host:port as the scheduler prints it",
            slug="no-cluster",
        )


def _greeting(line: socket.socket) -> bytes:
    """The first message, which begins with its length in eight bytes; nothing where that is not believable."""
    length = int.from_bytes(_exactly(line, 8), "little")
    return _exactly(line, length) if 0 < length <= _MOST else b""


def _exactly(line: socket.socket, count: int) -> bytes:
    """So many bytes, fewer where the other side ends."""
    data = b""
    while len(data) < count and (part := line.recv(count - len(data))):
        data += part
    return data


def _certificates(address: str) -> ssl.SSLContext:
    """The certificates that dask's configuration names."""
    security = importlib.import_module("distributed.security").Security()
    try:
        context = security.get_connection_args("client")["ssl_context"]
    except OSError as error:
        raise _no_certificates(address, f"the certificates cannot be read: {error}") from error
    if not isinstance(context, ssl.SSLContext):
        raise _no_certificates(address, "an encrypted connection needs certificates")
    return context


def _no_certificates(address: str, message: str) -> ContactFEError:
    return ContactFEError(
        message,
        where=address,
        hint="name them in dask's configuration, distributed.comm.tls, ca-file and client",
        slug="no-cluster",
    )


def _nobody(address: str, reason: str) -> ContactFEError:
    return ContactFEError(
        f"no scheduler answers: {reason}",
        where=address,
        hint="write tcp://host:port as the scheduler prints it",
        slug="no-cluster",
    )
