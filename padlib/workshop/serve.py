"""The page in the browser, served on this machine only.

Who may speak to it: whoever holds the token in the address that the first line prints. The token is
exchanged for a cookie that scripts cannot read and other sites cannot send; Host and Origin are
checked on every request. Nothing that the browser sends is ever opened as a path.
"""

from __future__ import annotations

import http.cookies
import json
import secrets
import signal
import sys
import threading
import webbrowser
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

from padlib.errors import InputError, PadlibError
from padlib.workshop.session import Changed, Session

HOST = "127.0.0.1"
MOST_BODY = 5_000_000  # bytes of one request: a suit file of the greatest size, escaped
WEB = Path(__file__).with_name("web")
PAGES = MappingProxyType(
    {
        "/": ("index.html", "text/html; charset=utf-8"),
        "/page.css": ("page.css", "text/css; charset=utf-8"),
        "/page.js": ("page.js", "text/javascript; charset=utf-8"),
        "/icon.svg": ("icon.svg", "image/svg+xml"),
        "/view.js": ("view.js", "text/javascript; charset=utf-8"),
    }
)
TYPES = MappingProxyType(
    {
        ".pdf": "application/pdf",
        ".svg": "image/svg+xml",
        ".dxf": "image/vnd.dxf",
        ".html": "text/html; charset=utf-8",
        ".json": "application/json",
        ".png": "image/png",
        ".bin": "application/octet-stream",
        ".csv": "text/csv; charset=utf-8",
        ".glb": "model/gltf-binary",
        ".hpgl": "application/vnd.hp-hpgl",
    }
)
SHOWN = (".html", ".png", ".bin")  # the rest is handed over as a file to keep
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# The guide is our own page but carries the maker's words: no scripts, a place of its own.
GUIDE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"
ENTRY = (
    '<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/">'
    '<link rel="icon" href="/icon.svg"><title>padlib</title><p><a href="/">To the workshop</a></p>'
)


@dataclass(frozen=True)
class Doorkeeper:
    """The secrets of one run: the token of the address and the value of the cookie."""

    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    def knows_token(self, token: str) -> bool:
        """Whether this is the token, compared in constant time."""
        return secrets.compare_digest(token.encode(), self.token.encode())

    def knows_cookie(self, header: str, name: str) -> bool:
        """Whether a Cookie header carries this run's cookie."""
        jar = http.cookies.SimpleCookie()
        try:
            jar.load(header)
        except http.cookies.CookieError:
            return False
        value = jar[name].value if name in jar else ""
        return secrets.compare_digest(value.encode(), self.cookie.encode())


class Workshop(ThreadingHTTPServer):
    """The server of one session, bound to this machine's own address."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, session: Session, port: int = 0) -> None:
        """Bind. Raises InputError where the port cannot be had."""
        try:
            super().__init__((HOST, port), Handler)
        except (OSError, OverflowError) as e:
            why = getattr(e, "strerror", None) or str(e)
            raise InputError(
                f"port {port} cannot be had ({why}); choose another with --port, or leave it out."
            ) from None
        self.session = session
        self.door = Doorkeeper()
        self.port = int(self.server_address[1])
        self.hosts = (f"{HOST}:{self.port}", f"localhost:{self.port}")

    @property
    def address(self) -> str:
        """The address that opens the page, token included."""
        return f"http://{HOST}:{self.port}/?token={self.door.token}"

    def handle_error(self, request: object, client_address: object) -> None:
        """A browser that went away in the middle is no news."""


class Refused(PadlibError):
    """Raised for a request that is not answered: its status and one sentence."""

    def __init__(self, status: HTTPStatus, words: str) -> None:
        """Keep the status beside the words."""
        super().__init__(words)
        self.status = status


class Handler(BaseHTTPRequestHandler):
    """One connection to the workshop."""

    server: Workshop
    protocol_version = "HTTP/1.1"
    server_version = "padlib"
    sys_version = ""
    timeout = 60

    def do_GET(self) -> None:
        """Answer a request for something to show."""
        self._answer(self._get)

    def do_POST(self) -> None:
        """Answer a request to change something."""
        self._answer(self._post)

    def log_message(self, *_: object) -> None:
        """Say nothing: the terminal belongs to the maker."""

    def _answer(self, act: Callable[[str], None]) -> None:
        try:
            self._check_sender()
            act(urlsplit(self.path).path)
        except Refused as e:
            self._refuse(e.status, str(e))
        except Changed as e:
            self._refuse(HTTPStatus.CONFLICT, str(e))
        except (PadlibError, ValueError) as e:
            self._refuse(HTTPStatus.UNPROCESSABLE_ENTITY, str(e))

    def _refuse(self, status: HTTPStatus, words: str) -> None:
        self.close_connection = True  # what is left of the request is not read
        self._send(json.dumps({"error": words}).encode(), "application/json", status=status)

    # Who may ask ----------------------------------------------------------------------------------

    def _check_sender(self) -> None:
        """Refuse any request that did not come from our own page on this machine."""
        hosts = self.headers.get_all("Host", [])
        if len(hosts) != 1 or hosts[0] not in self.server.hosts:
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST, "This is not the workshop's own address.")
        origin = self.headers.get("Origin")
        if origin is None and self.command == "GET":
            return
        if origin != f"http://{hosts[0]}":
            raise Refused(HTTPStatus.FORBIDDEN, "Only the workshop's own page may ask this.")

    def _check_cookie(self) -> None:
        known = self.server.door.knows_cookie(self.headers.get("Cookie", ""), self._cookie_name())
        if not known:
            raise Refused(
                HTTPStatus.FORBIDDEN, "Open the address that padlib printed when it started."
            )

    def _cookie_name(self) -> str:
        # Cookies do not tell ports apart; two workshops at once must.
        return f"padlib_{self.server.port}"

    # What is shown --------------------------------------------------------------------------------

    def _get(self, path: str) -> None:
        token = parse_qs(urlsplit(self.path).query).get("token", [""])[0]
        if path == "/" and token:
            self._enter(token)
            return
        self._check_cookie()
        session = self.server.session
        values = {"/state": session.state, "/progress": session.progress, "/result": session.shown}
        if path in PAGES:
            name, kind = PAGES[path]
            self._send((WEB / name).read_bytes(), kind)
        elif path in values:
            self._send_value(values[path]())
        elif path.startswith("/result/"):
            self._send_file(unquote(path.removeprefix("/result/")))
        else:
            raise Refused(HTTPStatus.NOT_FOUND, "There is no such page in the workshop.")

    def _enter(self, token: str) -> None:
        """Change the token for the cookie, and go on to the page from a page of our own.

        A redirect would do, but a strict cookie is not sent along one that another site began.
        """
        if not self.server.door.knows_token(token):
            raise Refused(HTTPStatus.FORBIDDEN, "This address is of another run of padlib.")
        cookie = (
            f"{self._cookie_name()}={self.server.door.cookie}; HttpOnly; SameSite=Strict; Path=/"
        )
        self._send(ENTRY.encode(), PAGES["/"][1], extra={"Set-Cookie": cookie})

    def _send_file(self, name: str) -> None:
        data = self.server.session.file(name)
        if data is None:
            raise Refused(HTTPStatus.NOT_FOUND, "There is no such file in the newest result.")
        ending = Path(name).suffix
        extra = {} if ending in SHOWN else {"Content-Disposition": "attachment"}
        policy = GUIDE_POLICY if ending == ".html" else POLICY
        self._send(data, TYPES.get(ending, TYPES[".bin"]), extra=extra, policy=policy)

    # What is changed ------------------------------------------------------------------------------

    def _post(self, path: str) -> None:
        self._check_cookie()
        acts = {
            "/text": self._change,
            "/value": self._set,
            "/undo": lambda _: self.server.session.undo(),
            "/redo": lambda _: self.server.session.redo(),
            "/save": lambda given: self.server.session.save(over=given.get("over") is True),
            "/build": lambda _: self.server.session.build(),
            "/stop": lambda _: self.server.session.stop(),
        }
        if path not in acts:
            raise Refused(HTTPStatus.NOT_FOUND, "There is no such thing to do in the workshop.")
        acts[path](self._body())
        self._send_value(self.server.session.state())

    def _change(self, given: Mapping[str, Any]) -> None:
        text, stroke, revision = given.get("text"), given.get("stroke", ""), given.get("revision")
        if not isinstance(text, str) or not isinstance(stroke, str):
            raise Refused(HTTPStatus.BAD_REQUEST, "A change needs a text.")
        if isinstance(revision, bool) or not isinstance(revision, int):
            raise Refused(HTTPStatus.BAD_REQUEST, "A change needs the revision that it changes.")
        self.server.session.change(text, stroke=stroke, revision=revision)

    def _set(self, given: Mapping[str, Any]) -> None:
        path, value, stroke = given.get("path"), given.get("value"), given.get("stroke", "")
        named = isinstance(path, list) and 2 <= len(path) <= 4
        if not named or not all(type(p) in (str, int) for p in path) or type(path[-1]) is not str:
            raise Refused(HTTPStatus.BAD_REQUEST, "A value needs the path of its key.")
        if not (value is None or isinstance(value, str | int | float)) or not isinstance(
            stroke, str
        ):
            raise Refused(HTTPStatus.BAD_REQUEST, "A value is a number, a word or a yes or no.")
        self.server.session.set(tuple(path), value, stroke=stroke)

    def _body(self) -> Mapping[str, Any]:
        """The JSON object of a request, refused unread where it is too long or of unknown length."""
        length = self.headers.get("Content-Length", "")
        if "Transfer-Encoding" in self.headers or not (length.isascii() and length.isdigit()):
            raise Refused(HTTPStatus.LENGTH_REQUIRED, "A request must say how long it is.")
        if len(length) > 12 or int(length) > MOST_BODY:
            raise Refused(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"A request has at most {MOST_BODY} bytes."
            )
        if self.headers.get_content_type() != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "A request must be JSON.")
        data = self.rfile.read(int(length))
        try:
            value = json.loads(data)
        except (ValueError, RecursionError):
            raise Refused(HTTPStatus.BAD_REQUEST, "The request is not readable JSON.") from None
        if not isinstance(value, dict):
            raise Refused(HTTPStatus.BAD_REQUEST, "The request must be a JSON object.")
        return value

    # Sending --------------------------------------------------------------------------------------

    def _send_value(self, value: object) -> None:
        self._send(json.dumps(value).encode(), "application/json")

    def _send(
        self,
        data: bytes,
        kind: str,
        *,
        status: HTTPStatus = HTTPStatus.OK,
        extra: Mapping[str, str] = MappingProxyType({}),
        policy: str = POLICY,
    ) -> None:
        headers = {
            "Content-Type": kind,
            "Content-Length": str(len(data)),
            "Content-Security-Policy": policy,
            "X-Content-Type-Options": "nosniff",
            "X-Frame-Options": "DENY",
            "Referrer-Policy": "no-referrer",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cache-Control": "no-store",
        }
        self.send_response(status)
        for name, value in (headers | dict(extra)).items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(data)


def serve(suit: str | None, *, port: int = 0, browser: bool = True) -> None:
    """Serve the workshop page on 127.0.0.1 until the maker presses Ctrl+C in the terminal.

    suit: path of a suit file; None: the demo suit. port: 0 takes a free one. The first line printed
    is the page's address, token included. Raises SuitError where the file cannot be read, InputError
    where the port cannot be had.
    """
    session = Session(suit)
    try:
        with Workshop(session, port) as server:
            sys.stdout.write(f"{server.address}\n")
            sys.stdout.write("The workshop is open at this address. Ctrl+C closes it.\n")
            sys.stdout.flush()
            if browser:
                threading.Thread(
                    target=webbrowser.open, args=(server.address,), daemon=True
                ).start()
            _until_closed(server)
    finally:
        session.close()


def _until_closed(server: Workshop) -> None:
    """Serve until Ctrl+C, or until the process is asked to end."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        server.serve_forever(poll_interval=0.2)
    except KeyboardInterrupt:
        sys.stdout.write("The workshop is closed.\n")
