"""The HTTP server: this process and no other, on a socket that is bound before anything starts.

uvicorn, because it serves from within the process on a socket we bound
ourselves: a port in use is told before the store is opened, port 0 gives a free
port, and one process holds the database.
"""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import signal
import socket
import threading
import time
from collections.abc import Iterator
from types import FrameType

import uvicorn
from litestar import Litestar

from service.errors import OperatorError

_GRACEFUL_SHUTDOWN_S = 60  # an upload of the largest size taken finishes within it
_KEEP_ALIVE_S = 75  # longer than clients and proxies keep an idle connection
_START_LIMIT_S = 60.0


class ServerError(OperatorError):
    """The server cannot start."""


def bind(host: str, port: int) -> socket.socket:
    """
    Socket to serve on; port 0 takes a free one.

    Raises
    ------
    ServerError
        If the port is in use, forbidden, or the host is not an address of this
        computer.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind, protocol)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
        except BaseException:
            listener.close()
            raise
    except OSError as failure:
        raise ServerError(_why_not_bound(host, port, failure)) from failure
    return listener


def url_of(listener: socket.socket) -> str:
    """Address at which a browser on this computer reaches the server."""
    host, port = listener.getsockname()[:2]
    if ipaddress.ip_address(host).is_unspecified:
        host = "localhost"
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def run(app: Litestar, listener: socket.socket) -> None:
    """
    Serve until SIGTERM or SIGINT; running requests are finished first.

    Raises
    ------
    ServerError
        If the application fails to start.
    """
    server = _Server(_config(app))
    with contextlib.closing(listener):
        server.serve_until_stopped(listener)
    if not server.started:
        raise ServerError(_why_not_started(app))


@contextlib.contextmanager
def running(app: Litestar, listener: socket.socket) -> Iterator[str]:
    """
    Serve in a thread while the block runs; gives the server's address.

    Raises
    ------
    ServerError
        If the application fails to start.
    """
    server = _Server(_config(app))
    thread = threading.Thread(target=server.serve_until_stopped, args=(listener,), name="http")
    url = url_of(listener)
    thread.start()
    try:
        limit = time.monotonic() + _START_LIMIT_S
        while not server.started:
            if not thread.is_alive() or time.monotonic() > limit:
                raise ServerError(_why_not_started(app))
            time.sleep(0.01)
        yield url
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


class _Server(uvicorn.Server):
    """uvicorn that ends with exit code 0 after a signal: stopping a service is no failure."""

    def serve_until_stopped(self, listener: socket.socket) -> None:
        """Serve; the attribute `started` tells afterwards whether it ever did."""
        # A start that failed is uvicorn's way to leave the whole process.
        with contextlib.suppress(SystemExit):
            self.run(sockets=[listener])

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Stop gracefully at the first signal, at once at the second."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {sig: signal.signal(sig, self._stop) for sig in (signal.SIGTERM, signal.SIGINT)}
        try:
            yield
        finally:
            for sig, handler in before.items():
                signal.signal(sig, handler)

    def _stop(self, _: int, __: FrameType | None) -> None:
        self.force_exit = self.should_exit
        self.should_exit = True


def _config(app: Litestar) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        loop="uvloop",
        http="httptools",
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        server_header=False,
        # A forwarded address could pretend to be loopback, which signs in.
        proxy_headers=False,
        timeout_keep_alive=_KEEP_ALIVE_S,
        timeout_graceful_shutdown=_GRACEFUL_SHUTDOWN_S,
    )


def _why_not_started(app: Litestar) -> str:
    refusal: str = app.state.readiness.refusal
    return refusal or "the service failed to start; the log says why"


def _why_not_bound(host: str, port: int, failure: OSError) -> str:
    if failure.errno == errno.EADDRINUSE:
        return f"port {port} on {host} is in use; choose another with --port"
    if failure.errno == errno.EACCES:
        return f"port {port} on {host} may not be opened by this user; choose one above 1023"
    return f"cannot listen on {host} port {port}: {failure.strerror or failure}"
