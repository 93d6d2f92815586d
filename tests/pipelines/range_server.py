"""A web server for tests: files in memory, ranges as RFC 9110 has them, and faults by path, one a request."""

from __future__ import annotations

import contextlib
import hashlib
import re
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit


@dataclass(frozen=True)
class Fault:
    """How one answer goes wrong.

    ``status`` instead of the file; ``breaks_at`` so many bytes, ``lies`` about the length by so many; each piece of
    ``piece`` bytes after ``wait`` seconds; ``ranges`` not given; another ``etag``; ``headers`` besides; another
    ``body``; a ``part`` that begins so many bytes later than was asked for; ``chunked``, its length not told.
    """

    status: int = 0
    breaks_at: int | None = None
    lies: int = 0
    wait: float = 0.0
    piece: int = 1 << 16
    ranges: bool = True
    etag: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | None = None
    part: int = 0
    chunked: bool = False


FINE = Fault()


@dataclass(frozen=True)
class Asked:
    """One request as it came."""

    method: str
    path: str
    range: str
    if_range: str
    body: bytes


class Server:
    """What is served and how; ``faults`` of a path are used up one by one, ``always`` stay."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.faults: dict[str, list[Fault]] = {}
        self.always: dict[str, Fault] = {}
        self.asked: list[Asked] = []
        self.sent = 0
        self.address = ""
        self._lock = threading.Lock()

    def fault_of(self, path: str) -> Fault:
        with self._lock:
            waiting = self.faults.get(path)
            return waiting.pop(0) if waiting else self.always.get(path, FINE)

    def of(self, path: str) -> list[Asked]:
        """Requests for a path."""
        return [one for one in self.asked if urlsplit(one.path).path == path]


@contextlib.contextmanager
def serving() -> Iterator[Server]:
    """A server on a free port of this machine, until the end of the block."""
    server = Server()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        disable_nagle_algorithm = True

        def log_message(self, *_: object) -> None:
            pass

        def do_GET(self) -> None:
            _answer(self, server)

        def do_POST(self) -> None:
            _answer(self, server)

    http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    http.daemon_threads = True
    http.socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 18)  # what nobody reads is not taken as sent
    server.address = f"http://127.0.0.1:{http.server_address[1]}"
    thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        http.shutdown()
        http.server_close()


def _answer(handler: BaseHTTPRequestHandler, server: Server) -> None:
    path = urlsplit(handler.path).path
    sent_body = handler.rfile.read(int(handler.headers.get("Content-Length") or 0))
    asked = Asked(
        handler.command, handler.path, handler.headers.get("Range", ""), handler.headers.get("If-Range", ""), sent_body
    )
    server.asked.append(asked)
    fault = server.fault_of(path)
    whole = fault.body if fault.body is not None else server.files.get(handler.path, server.files.get(path))
    status = fault.status or (200 if whole is not None else 404)
    headers = dict(fault.headers)
    body = (fault.body if status >= 300 else whole) or b""
    if status == 200:
        etag = fault.etag or f'"{hashlib.sha256(body).hexdigest()[:12]}"'
        headers = {"ETag": etag, "Accept-Ranges": "bytes"} | headers
        found = re.fullmatch(r"bytes=(\d+)-(\d*)", asked.range)
        if found and fault.ranges and asked.if_range in ("", etag):
            first, last = int(found[1]), min(int(found[2] or len(body) - 1), len(body) - 1)
            if first >= len(body):
                status, headers, body = 416, headers | {"Content-Range": f"bytes */{len(body)}"}, b""
            else:
                first += fault.part
                headers |= {"Content-Range": f"bytes {first}-{last}/{len(body)}"}
                status, body = 206, body[first : last + 1]
    _send(handler, server, fault, status, headers, body)


def _send(
    handler: BaseHTTPRequestHandler, server: Server, fault: Fault, status: int, headers: dict[str, str], body: bytes
) -> None:
    handler.send_response(status)
    for name, value in headers.items():
        handler.send_header(name, value)
    if fault.chunked:
        handler.send_header("Transfer-Encoding", "chunked")
    else:
        handler.send_header("Content-Length", str(len(body) + fault.lies))
    handler.end_headers()
    end = len(body) if fault.breaks_at is None else min(fault.breaks_at, len(body))
    with contextlib.suppress(OSError):
        for start in range(0, end, fault.piece):
            time.sleep(fault.wait)
            piece = body[start : min(start + fault.piece, end)]
            server.sent += len(piece)  # before whoever reads the last of it looks
            handler.wfile.write(b"%x\r\n%b\r\n" % (len(piece), piece) if fault.chunked else piece)
            handler.wfile.flush()
        if fault.chunked and end == len(body):
            handler.wfile.write(b"0\r\n\r\n")
    if end < len(body) + fault.lies:
        handler.close_connection = True
        with contextlib.suppress(OSError):
            handler.connection.shutdown(2)
