"""A SPARQL 1.1 service over HTTP: queries and updates, with time limits, retries and errors told to people.

Speaks the SPARQL 1.1 Protocol (W3C Recommendation, 2013-03-21): queries and updates by POST, results as
``application/sparql-results+json``. Nothing else in the package opens the network.
"""

import base64
import os
import socket
import ssl
import threading
import time
from collections.abc import Mapping
from http.client import HTTPConnection, HTTPException, HTTPResponse, HTTPSConnection, RemoteDisconnected
from urllib.parse import SplitResult, quote, unquote, urljoin, urlsplit

from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.sparql_terms import Nonsense, Row, rows_of

TIMEOUT = 60.0
"""Seconds that one answer may take, from the connection to its last byte."""

TRIES = 3
"""How often a request is sent before the service counts as unable. Every request of ours may be repeated."""

MOST_BYTES = 64 * 1024 * 1024
"""The longest answer that is read. A page of results takes about two megabytes."""

USER, PASSWORD = "TRAYCONCORD_ENDPOINT_USER", "TRAYCONCORD_ENDPOINT_PASSWORD"
"""Environment variables with credentials for HTTP basic authentication."""

RESULTS = "application/sparql-results+json"

_BUSY = (429, 502, 503, 504)
_MOVED = (301, 302, 307, 308)
_MOST_MOVES = 3
_CHUNK = 65536
_WAITED = "wait for it to end, give it more time with --timeout, or look at the service"


class _Again(Exception):
    """A failure that may pass when the request is sent once more."""

    def __init__(self, message: str, fix: str) -> None:
        super().__init__(message)
        self.message, self.fix = message, fix


class Service:
    """A SPARQL service. Raises `UnusableInput` for whatever goes wrong, and names it without credentials."""

    def __init__(
        self,
        address: str,
        timeout: float = TIMEOUT,
        update_address: str | None = None,
        pause: float = 0.5,
        environment: Mapping[str, str] = os.environ,
    ) -> None:
        """``timeout`` is in seconds per request; ``pause`` in seconds before the first repetition, then doubled."""
        self.timeout, self._pause = timeout, pause
        self._secrets: set[str] = set()
        self._environment = environment
        self._query_url, self._query_login = self._parted(address)
        self.shown = _shown(self._query_url)
        update = update_address or address
        self._update_url, self._update_login = self._parted(update)
        if not update_address and self._update_url.path.endswith("/query"):
            sibling = self._update_url.path.removesuffix("query") + "update"
            self._update_url = self._update_url._replace(path=sibling)
        self._open: dict[tuple[str, str], HTTPConnection] = {}

    def select(self, query: str) -> list[Row]:
        """The rows that answer a SELECT query."""
        body = self._post(self._query_url, self._query_login, query, "application/sparql-query", RESULTS)
        try:
            return rows_of(body)
        except Nonsense as nonsense:
            raise unusable(
                self.shown, f"sends no usable results: {nonsense}", "look at the service; is it a SPARQL 1.1 service?"
            ) from None

    def update(self, text: str) -> None:
        """Carry out an update, which must be one that may be sent twice."""
        self._post(self._update_url, self._update_login, text, "application/sparql-update", None)

    def close(self) -> None:
        """Close the connections."""
        for connection in self._open.values():
            connection.close()
        self._open.clear()

    # --- addresses and credentials ---

    def _parted(self, address: str) -> tuple[SplitResult, str]:
        """An address without its credentials, and the credentials as a header."""
        try:
            parts = urlsplit(address)
            host, port = parts.hostname, parts.port
        except ValueError:
            host, port, parts = None, None, urlsplit("")
        written = _is_written_as_address(address)
        if parts.scheme not in ("http", "https") or not host or port == 0 or not written:
            shown = _shown(parts) if host and written else "--endpoint"
            raise unusable(shown, "is no address of a SPARQL service", "write it as http://localhost:7878/query")
        user, password = parts.username, parts.password
        if user is None:
            user, password = self._environment.get(USER), self._environment.get(PASSWORD)
        else:
            user, password = unquote(user), unquote(password or "")
        bare = parts._replace(netloc=parts.netloc.rpartition("@")[2], path=parts.path or "/")
        if not user:
            return bare, ""
        self._secrets |= {secret for secret in (password, parts.password, quote(password or "", safe="")) if secret}
        token = base64.b64encode(f"{user}:{password or ''}".encode()).decode()
        return bare, f"Basic {token}"

    # --- one request ---

    def _post(self, url: SplitResult, login: str, text: str, kind: str, accept: str | None) -> bytes:
        """Send a request until it is answered. Raises `UnusableInput`."""
        for attempt in range(TRIES):
            if attempt:
                time.sleep(self._pause * 2 ** (attempt - 1))
            try:
                return self._follow(url, login, text.encode(), kind, accept)
            except _Again as failure:
                last = failure
        raise unusable(_shown(url), f"{last.message} (asked {TRIES} times)", last.fix)

    def _follow(self, url: SplitResult, login: str, body: bytes, kind: str, accept: str | None) -> bytes:
        """Send a request, and once more to where the same host says that it belongs."""
        here = url
        for _ in range(_MOST_MOVES):
            status, headers, answer = self._send(here, login, body, kind, accept)
            if status not in _MOVED:
                break
            target = _target(here, headers.get("location", ""))
            if target is None:
                raise unusable(_shown(url), "leads on to nowhere", "name the service itself with --endpoint")
            if (target.scheme, target.netloc) != (here.scheme, here.netloc):
                raise unusable(
                    _shown(url),
                    f"leads on to another host, {_plain(_shown(target))}",
                    "if you trust that one, name it with --endpoint",
                )
            here = target
        else:
            raise unusable(_shown(url), "leads round in a circle", "name the service itself with --endpoint")
        self._refuse_failures(url, status, headers, answer)
        if accept is not None:
            sent = headers.get("content-type", "").partition(";")[0].strip().casefold()
            if sent not in (accept, "application/json"):
                page = "a web page" if "html" in sent else _plain(sent) or "something without a type"
                raise unusable(
                    _shown(url), f"sends {page} instead of query results",
                    "name the query service itself, as in http://localhost:7878/query",
                )  # fmt: skip
        return answer

    def _refuse_failures(self, url: SplitResult, status: int, headers: Mapping[str, str], answer: bytes) -> None:
        if 200 <= status < 300:
            return
        is_page = "html" in headers.get("content-type", "")
        first = next(iter(answer[:2000].decode("utf-8", "replace").strip().splitlines()), "")
        said = f": {self._discreet(_plain(first))}" if first and not is_page else ""
        if status in _BUSY:
            raise _Again(f"is overloaded or not ready ({status}{said})", "try again later, or look at the service")
        message, fix = {
            400: (
                "does not understand what it is asked",
                "is this the address of a SPARQL 1.1 service?",
            ),
            401: ("wants a user and a password, or others", f"set {USER} and {PASSWORD}"),
            403: ("refuses access", f"ask for the right to use it, or set {USER} and {PASSWORD}"),
            404: ("has nothing at this address", "name the query service itself, as in http://localhost:7878/query"),
            405: ("takes no POST at this address", "name the query service itself, and --update-endpoint to publish"),
            413: ("finds the request too large", "raise the limit of the service"),
        }.get(status, ("failed" if status >= 500 else "refused the request", "look at the service and its log"))
        raise unusable(_shown(url), f"{message} ({status}{said})", fix)

    def _send(
        self, url: SplitResult, login: str, body: bytes, kind: str, accept: str | None
    ) -> tuple[int, Mapping[str, str], bytes]:
        headers = {"Content-Type": kind, "Accept": accept or "*/*", "Accept-Encoding": "identity"}
        headers |= {"Authorization": login} if login else {}
        connection = self._connection(url)
        sound = False
        try:
            result = self._exchange(connection, url, body, headers)
            sound = True
            return result
        except ssl.SSLError as error:
            reason = getattr(error, "verify_message", "") or error.reason or "TLS failed"
            raise unusable(
                _shown(url), f"has no secure connection to offer: {_plain(str(reason))}",
                "check the address and the certificate of the service",
            ) from None  # fmt: skip
        except (socket.gaierror, UnicodeError):
            raise unusable(_shown(url), "has a host whose name nobody knows", "check the address") from None
        except ConnectionRefusedError:
            raise unusable(_shown(url), "refuses the connection", "check the address; is the service up?") from None
        except TimeoutError:
            raise _Again(f"did not answer within {self.timeout:g} s", _WAITED) from None
        except (ConnectionError, RemoteDisconnected):
            raise _Again("broke off the connection", "try again later, or look at the service") from None
        except HTTPException:
            raise unusable(
                _shown(url), "does not answer in HTTP, or breaks off", "check the address, or look at the service"
            ) from None
        except OSError as error:
            raise unusable(
                _shown(url), f"cannot be reached: {error.strerror or error}", "check the address and the network"
            ) from None
        finally:
            if not sound:
                self._drop(connection)

    def _exchange(
        self, connection: HTTPConnection, url: SplitResult, body: bytes, headers: dict[str, str]
    ) -> tuple[int, Mapping[str, str], bytes]:
        """One request and its answer, within the time limit however slowly the bytes come."""
        fresh = connection.sock is None
        if fresh:
            connection.connect()
        wire = connection.sock
        late = threading.Event()

        def cut() -> None:
            late.set()
            try:
                wire.shutdown(socket.SHUT_RDWR)
            except OSError:  # it has ended by itself
                return

        timer = threading.Timer(self.timeout, cut)
        timer.daemon = True
        timer.start()
        try:
            connection.request("POST", url._replace(scheme="", netloc="").geturl(), body, headers)
            response = connection.getresponse()
            answer = self._read(response, _shown(url))
        except (OSError, HTTPException):
            if late.is_set():
                raise TimeoutError from None
            raise
        finally:
            timer.cancel()
        if late.is_set():
            raise TimeoutError
        return response.status, {name.casefold(): value for name, value in response.getheaders()}, answer

    def _read(self, response: HTTPResponse, shown: str) -> bytes:
        if response.getheader("Content-Encoding", "identity").casefold() != "identity":
            raise unusable(shown, "compresses its answer though asked not to", "look at the service")
        parts, size = [], 0
        while part := response.read1(_CHUNK):
            parts.append(part)
            size += len(part)
            if size > MOST_BYTES:
                raise unusable(
                    shown, f"sends more than {MOST_BYTES // 1024**2} MB for one page", "does it keep to LIMIT?"
                )
        if response.length:  # fewer bytes than it said
            raise ConnectionResetError
        response.close()  # or the connection could not be used again
        return b"".join(parts)

    def _connection(self, url: SplitResult) -> HTTPConnection:
        key = (url.scheme, url.netloc)
        if key not in self._open:
            assert url.hostname is not None
            kind = HTTPSConnection if url.scheme == "https" else HTTPConnection
            self._open[key] = kind(url.hostname, url.port, timeout=self.timeout)
        return self._open[key]

    def _drop(self, connection: HTTPConnection) -> None:
        connection.close()
        self._open = {key: kept for key, kept in self._open.items() if kept is not connection}

    def _discreet(self, text: str) -> str:
        for secret in self._secrets:
            text = text.replace(secret, "…")
        return text


def changed(service: Service, detail: str) -> UnusableInput:
    """What to tell when answers of a service do not fit together."""
    return unusable(
        service.shown,
        f"contradicts itself, or the store changed while it was read: {detail}",
        "run it again; if this stays so, look at the service",
    )


def _is_written_as_address(text: str) -> bool:
    return text.isascii() and text.isprintable() and not set(' <>"{}|\\^`#') & set(text)


def _target(here: SplitResult, location: str) -> SplitResult | None:
    """Where an answer leads on to; None where that is no address."""
    try:
        target = urlsplit(urljoin(here.geturl(), location))
    except ValueError:
        return None
    return target if location and _is_written_as_address(location) else None


def _shown(url: SplitResult) -> str:
    """An address as it may be printed: without credentials and without its query, which may hold a key."""
    return url._replace(netloc=url.netloc.rpartition("@")[2], query="", fragment="").geturl()


def _plain(text: str) -> str:
    """Foreign text as it may be printed: one short line without control characters."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())[:200]
