"""SPARQL services on the loopback interface: one that answers as a test wants, and a real Oxigraph server."""

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from pyoxigraph import Quad, QueryResultsFormat, QuerySolutions, RdfFormat, Store, parse, serialize

RESULTS = "application/sparql-results+json"
Answer = Callable[[BaseHTTPRequestHandler, str, str], None]
"""Answers a request: the handler, the path, the text that was posted."""


class Oxigraph:
    """A running Oxigraph at an address, whose contents can be taken out and put in past its updates."""

    def __init__(self, address: str) -> None:
        self.url = address
        self.store = self
        self._graphs = address.replace("/query", "/store")

    def __iter__(self) -> Iterator[Quad]:
        request = urllib.request.Request(self._graphs, headers={"Accept": RdfFormat.N_QUADS.media_type})
        with urllib.request.urlopen(request) as answer:
            yield from parse(answer.read(), format=RdfFormat.N_QUADS)

    def clear(self) -> None:
        """Empty it."""
        self._send("PUT", b"")

    def extend(self, quads: Iterable[Quad]) -> None:
        """Add to it."""
        self._send("POST", serialize(quads, format=RdfFormat.N_QUADS) or b"")

    def _send(self, method: str, body: bytes) -> None:
        kind = {"Content-Type": RdfFormat.N_QUADS.media_type}
        urllib.request.urlopen(urllib.request.Request(self._graphs, body, kind, method=method)).close()


class Loopback:
    """A server that records what it is asked and leaves the answer to a function, which a test may replace."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        self.asked: list[str] = []
        self.headers: list[dict[str, str]] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"
            disable_nagle_algorithm = True

            def do_POST(self) -> None:
                text = self.rfile.read(int(self.headers.get("Content-Length", 0))).decode()
                outer.asked.append(text)
                outer.headers.append(dict(self.headers))
                with contextlib.suppress(ConnectionError):  # whoever asked has gone
                    outer.answer(self, self.path, text)

            def log_message(self, *_: object) -> None:
                return

        class Quiet(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, *_: object) -> None:
                return

        self.server = Quiet(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/query"

    def __enter__(self) -> "Loopback":
        threading.Thread(target=self.server.serve_forever, args=(0.01,), daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()


def say(handler: BaseHTTPRequestHandler, body: bytes, kind: str = RESULTS, status: int = 200, **more: str) -> None:
    """One plain answer."""
    handler.send_response(status)
    handler.send_header("Content-Type", kind)
    handler.send_header("Content-Length", str(len(body)))
    for name, value in more.items():
        handler.send_header(name.replace("_", "-"), value)
    handler.end_headers()
    handler.wfile.write(body)


def answer_with(store: Store) -> Answer:
    """A SPARQL 1.1 service at ``/query`` and ``/update``: pyoxigraph's engine, without its server."""

    def answer(handler: BaseHTTPRequestHandler, path: str, text: str) -> None:
        if path == "/update":
            store.update(text)
            handler.send_response(204)
            handler.end_headers()
        else:
            say(handler, results(store, text))

    return answer


def results(store: Store, query: str) -> bytes:
    """What a query gives, as JSON."""
    solutions = store.query(query)
    assert isinstance(solutions, QuerySolutions)
    return solutions.serialize(format=QueryResultsFormat.JSON) or b""


@contextlib.contextmanager
def honest_service() -> Iterator[tuple[Loopback, Store]]:
    """An empty service that keeps to the Recommendation, and the store behind it."""
    store = Store()
    with Loopback(answer_with(store)) as server:
        yield server, store


def oxigraph() -> str | None:
    """The program of the package ``oxigraph``, beside this Python or on the path."""
    beside = Path(sys.executable).with_name("oxigraph")
    return str(beside) if beside.exists() else shutil.which("oxigraph")


@contextlib.contextmanager
def oxigraph_service(*options: str) -> Iterator[str]:
    """The address of an empty Oxigraph in memory, which lives as long as the context."""
    with oxigraph_process(*options) as (address, _):
        yield address


@contextlib.contextmanager
def oxigraph_process(*options: str) -> Iterator[tuple[str, int]]:
    """The same, with the number of its process."""
    program = oxigraph()
    assert program is not None, "pip install oxigraph"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [program, "serve", "--bind", f"127.0.0.1:{port}", *options]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=dict(os.environ))
    try:
        address = f"http://127.0.0.1:{port}/query"
        for _ in range(200):
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"{address}?query=ASK%7B%7D", timeout=5).close()
                break
            assert process.poll() is None, "Oxigraph ended"
            time.sleep(0.05)
        else:
            raise AssertionError("Oxigraph does not answer")
        yield address, process.pid
    finally:
        process.kill()
        process.wait()
