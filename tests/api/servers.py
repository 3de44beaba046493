"""Servers for the uploader: the real application on a port, and others that do not behave."""

from __future__ import annotations

import json
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from wsgiref.types import StartResponse, WSGIEnvironment

import waitress
from django.db import connections
from waitress import wasyncore

from fleet.wsgi import application

UNTRUSTED = Path(__file__).with_name("untrusted.pem")


def closing(environ: WSGIEnvironment, start_response: StartResponse) -> list[bytes]:
    """The application; its threads leave no connection behind to the test's database."""
    try:
        answer = application(environ, start_response)
        try:
            return list(answer)
        finally:
            answer.close()
    finally:
        connections.close_all()


@contextmanager
def running(port: int) -> Iterator[str]:
    """The real application under the real server, in threads of this process."""
    channels: dict[int, Any] = {}
    server: Any = waitress.create_server(
        closing, map=channels, host="127.0.0.1", port=port, threads=2
    )
    stopping = threading.Event()

    def serve() -> None:
        while not stopping.is_set():
            wasyncore.loop(timeout=0.05, map=channels, count=1)
        server.task_dispatcher.shutdown()
        for channel in list(channels.values()):
            channel.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        stopping.set()
        thread.join(10)


@dataclass
class Scripted:
    """Answers each connection with the next of ``answers``; keeps what it was sent.

    An answer is bytes to send before closing, or a port to pass the request on to with the number
    of bytes of its answer to hand back.
    """

    answers: list[bytes | tuple[int, int]]
    tls: bool = False
    requests: list[bytes] = field(default_factory=list)
    port: int = 0

    @contextmanager
    def running(self) -> Iterator[str]:
        listener = socket.create_server(("127.0.0.1", 0))
        self.port = listener.getsockname()[1]
        thread = threading.Thread(target=self._serve, args=[listener])
        thread.start()
        try:
            yield f"{'https' if self.tls else 'http'}://127.0.0.1:{self.port}"
        finally:
            listener.shutdown(socket.SHUT_RDWR)
            listener.close()
            thread.join(10)

    def _serve(self, listener: socket.socket) -> None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(UNTRUSTED)
        for answer in self.answers:
            with suppress(OSError):
                accepted, _ = listener.accept()
                with (
                    context.wrap_socket(accepted, server_side=True) if self.tls else accepted as to
                ):
                    request = _request(to)
                    self.requests.append(request)
                    to.sendall(
                        answer if isinstance(answer, bytes) else _passed_on(request, *answer)
                    )


def _request(of: socket.socket) -> bytes:
    received = b""
    while b"\r\n\r\n" not in received:
        received += of.recv(65536)
    head, _, body = received.partition(b"\r\n\r\n")
    length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n")[0])
    while len(body) < length:
        body += of.recv(65536)
    return head + b"\r\n\r\n" + body


def _passed_on(request: bytes, port: int, most_bytes: int) -> bytes:
    with socket.create_connection(("127.0.0.1", port)) as onward:
        onward.sendall(request)
        answer = b""
        while chunk := onward.recv(65536):
            answer += chunk
    return answer[:most_bytes]


def answer(status: str, text: str = "{}", *headers: str) -> bytes:
    """A whole HTTP answer."""
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(text)}", "Connection: close", *headers]
    return ("\r\n".join(head) + "\r\n\r\n" + text).encode()


ACCEPTED = answer("202 Accepted", json.dumps({"upload": "0190", "status": "http://x"}))
