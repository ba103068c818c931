"""Runs the server of one data folder: HTTP, the clock and the intake thread, together and stopped together."""

import signal
import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Thread
from types import FrameType

import waitress
from flask import Flask
from waitress.server import MultiSocketServer, TcpWSGIServer

from server.app import LONGEST_POST, create_app
from server.installation.key_check import missing_keys
from server.installation.runtime import Runtime
from server.installation.scratch import take_away_unless_in_use
from server.installation.set_up import NotReady, check_ready
from server.jobs.clock import make_scheduler
from server.jobs.health import Health
from server.jobs.intake import take_in_what_a_copy_held
from server.jobs.intake_thread import IntakeThread
from server.store.migrate import revisions
from server.words.catalogue import not_compiled

THREADS = 4
READ_AT_ONCE = 256 * 1024
# A body that is too long is read up to here before it is answered 413: closed over unread bytes, a connection is reset and the answer lost.
LONGEST_READ = 4 * LONGEST_POST
# Slow and idle ones cost a descriptor each, of 1024 that a process usually has; the web server in front opens one a whole request.
CONNECTIONS = 500
IDLE_SECONDS = 30
STOPPING = "Stopping: requests that are being answered and the batch that is being read are finished first"
FINISH_SECONDS = (
    30  # for the requests that are being answered, after the 5 of waitress; service managers wait 90 before they kill
)


class AskedToStop(KeyboardInterrupt):
    """The first time. A second Ctrl-C is a KeyboardInterrupt like any other."""


class CannotListen(RuntimeError):
    """Of the address and port that the settings name."""


def serve_forever(runtime: Runtime, *, announce: Callable[[str], None], port: int | None = None) -> None:
    """Until interrupted. Raises FolderBusy when another server has the folder, NotReady when set-up is not finished, CannotListen.

    At the end only requests that a thread is answering are finished. Those that still wait for a thread waitress drops inside
    `run()`, which cannot be told otherwise: a phone sends again by itself, staff see the browser's error and send again.
    """
    with runtime.lock.serving():
        check_ready(runtime)
        missing = missing_keys(runtime) or not_compiled()
        if missing:
            raise NotReady(missing)
        take_away_unless_in_use(runtime)
        listener = listen(runtime.settings.host, runtime.settings.port if port is None else port)
        health = Health(runtime, schema=revisions()[-1])
        intake, clock = IntakeThread(runtime), make_scheduler(runtime, health.ticked)
        app = create_app(runtime, intake.wake)
        app.add_url_rule("/health", "health", health.answer)
        server = http_server(app, listener, proxy=runtime.settings.proxy)
        host, bound = listener.getsockname()[:2]
        take_in_what_a_copy_held(runtime)
        intake.start()
        clock.start()
        try:
            # waitress ends at it inside `run`; whoever reads that it runs may ask it to stop before that.
            with suppress(AskedToStop):
                stop_when_asked(announce)
                announce(f"Serving on http://{host}:{bound}/  (Ctrl-C stops)")
                server.run()
            server.task_dispatcher.shutdown(cancel_pending=False, timeout=FINISH_SECONDS)
        finally:
            clock.shutdown(wait=True)
            intake.stop()
            server.close()


def stop_when_asked(announce: Callable[[str], None]) -> None:
    """Ctrl-C, and SIGTERM, by which service managers stop: the server then finishes what it is at. Asked again, it stops at once."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        # By a thread: this one may be in the middle of another line, and Python refuses a write inside a write.
        Thread(target=announce, args=[STOPPING]).start()
        raise AskedToStop

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)


def http_server(app: Flask, listener: socket.socket, *, proxy: str) -> MultiSocketServer | TcpWSGIServer:
    """Not yet running. Reads a whole post at once: each read waits for the interpreter while the intake thread works.

    `request.remote_addr` is who really asks: the web server at `proxy` says it in X-Forwarded-For, which from anybody else is dropped.
    """
    return waitress.create_server(
        app,
        sockets=[listener],
        threads=THREADS,
        recv_bytes=READ_AT_ONCE,
        max_request_body_size=LONGEST_READ,
        connection_limit=CONNECTIONS,
        channel_timeout=IDLE_SECONDS,
        cleanup_interval=IDLE_SECONDS // 3,
        asyncore_use_poll=True,
        trusted_proxy=proxy,
        trusted_proxy_headers={"x-forwarded-for"},
        clear_untrusted_proxy_headers=True,
    )


def listen(host: str, port: int) -> socket.socket:
    """A bound socket; port 0 takes a free one. Raises CannotListen, such as when the port is taken."""
    listener = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as problem:
        listener.close()
        raise CannotListen(
            f"cannot listen on {host}:{port}: {problem.strerror}. Set YEARMARK_HOST or YEARMARK_PORT"
        ) from problem
    return listener
