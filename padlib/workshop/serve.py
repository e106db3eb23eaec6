"""The page in the browser, served on this machine only.

Who may speak to it: whoever holds the token in the address that the first line prints. The token is
exchanged for a cookie that scripts cannot read and other sites cannot send; Host and Origin are
checked on every request and on the socket. Nothing that the browser sends is ever opened as a path.
"""

from __future__ import annotations

import asyncio
import contextlib
import http.cookies
import json
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs, unquote

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from padlib.errors import InputError, PadlibError
from padlib.workshop.desk import Desk
from padlib.workshop.session import Session
from padlib.workshop.upload import MOST_SCAN, Upload

HOST = "127.0.0.1"
MOST_MESSAGE = 5_000_000  # bytes of one message: a suit file of the greatest size, escaped
MOST_AT_ONCE = 16  # questions of one page under way; further ones wait
WEB = Path(__file__).with_name("web")
SCRIPT = "text/javascript; charset=utf-8"
PAGES = MappingProxyType(
    {
        "/": ("index.html", "text/html; charset=utf-8"),
        "/page.css": ("page.css", "text/css; charset=utf-8"),
        "/page.js": ("page.js", SCRIPT),
        "/icon.svg": ("icon.svg", "image/svg+xml"),
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
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# The guide is our own page but carries the maker's words: no scripts, a place of its own.
GUIDE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"
HEADERS = MappingProxyType(
    {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cache-Control": "no-store",
    }
)
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


class Refused(PadlibError):
    """Raised for a request that is not answered: its status and one sentence."""

    def __init__(self, status: int, words: str) -> None:
        """Keep the status beside the words."""
        super().__init__(words)
        self.status = status


class Workshop:
    """The server of one session, bound to this machine's own address."""

    def __init__(self, session: Session, port: int = 0) -> None:
        """Bind. Raises InputError where the port cannot be had."""
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self.socket.bind((HOST, port))
            self.socket.listen(64)
        except (OSError, OverflowError) as e:
            self.socket.close()
            why = getattr(e, "strerror", None) or str(e)
            raise InputError(
                f"port {port} cannot be had ({why}); choose another with --port, or leave it out."
            ) from None
        self.session = session
        self.door = Doorkeeper()
        self.port = int(self.socket.getsockname()[1])
        self.hosts = (f"{HOST}:{self.port}", f"localhost:{self.port}")
        config = uvicorn.Config(
            Door(self),
            http="h11",
            ws="websockets-sansio",
            ws_max_size=MOST_MESSAGE,
            ws_per_message_deflate=False,  # packing costs more than loopback takes for all of it
            lifespan="off",
            log_config=None,  # the terminal belongs to the maker
            log_level="critical",
            access_log=False,
            server_header=False,
            date_header=False,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=1,
            limit_concurrency=200,
            proxy_headers=False,
        )
        self.server = uvicorn.Server(config)

    @property
    def address(self) -> str:
        """The address that opens the page, token included."""
        return f"http://{HOST}:{self.port}/?token={self.door.token}"

    def serve_forever(self) -> None:
        """Serve until `shutdown`, Ctrl+C or the request to end."""
        self.server.run(sockets=[self.socket])

    def shutdown(self) -> None:
        """Ask the server to end."""
        self.server.should_exit = True

    def __enter__(self) -> Workshop:
        """The server itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the socket."""
        self.socket.close()


class Door:
    """Stands before the application: lets in only what comes from our own page on this machine."""

    def __init__(self, workshop: Workshop) -> None:
        """Guard the pages of a workshop."""
        self.workshop = workshop
        self.inside = _application(workshop)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Check one request or socket, and pass it on or answer why not."""
        try:
            self._check(scope)
        except Refused as e:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})  # answered with 403
                return
            await _refusal(e)(scope, receive, send)
            return
        await self.inside(scope, receive, send)

    def _check(self, scope: Any) -> None:
        headers = [(k.lower(), v.decode("latin-1")) for k, v in scope["headers"]]
        hosts = [v for k, v in headers if k == b"host"]
        if len(hosts) != 1 or hosts[0] not in self.workshop.hosts:
            raise Refused(421, "This is not the workshop's own address.")
        origins = [v for k, v in headers if k == b"origin"]
        looks = scope["type"] == "http" and scope["method"] == "GET"
        if origins != [f"http://{hosts[0]}"] and not (looks and not origins):
            raise Refused(403, "Only the workshop's own page may ask this.")
        if scope["type"] == "http" and scope["method"] not in ("GET", "POST"):
            raise Refused(501, "The workshop does not know this method.")
        if looks and scope["path"] == "/" and b"token=" in scope["query_string"]:
            return  # the token is looked at inside
        cookies = "; ".join(v for k, v in headers if k == b"cookie")
        if not self.workshop.door.knows_cookie(cookies, cookie_name(self.workshop.port)):
            raise Refused(403, "Open the address that padlib printed when it started.")


def cookie_name(port: int) -> str:
    """Cookies do not tell ports apart; two workshops at once must."""
    return f"padlib_{port}"


def _answer(
    data: bytes,
    kind: str,
    *,
    status: int = 200,
    extra: Mapping[str, str] = MappingProxyType({}),
    policy: str = POLICY,
) -> Response:
    headers = {"Content-Type": kind, "Content-Security-Policy": policy, **HEADERS, **extra}
    return Response(data, status_code=status, headers=headers)


def _refusal(e: Refused) -> Response:
    data = json.dumps({"error": str(e)}).encode()
    return _answer(data, "application/json", status=e.status, extra={"Connection": "close"})


def _application(workshop: Workshop) -> Starlette:
    """The pages behind the door."""
    session, door = workshop.session, workshop.door

    async def page(request: Request) -> Response:
        path = request.url.path
        token = parse_qs(request.url.query).get("token", [""])[0]
        if path == "/" and "token" in parse_qs(request.url.query, keep_blank_values=True):
            return enter(token)
        if path in PAGES:
            name, kind = PAGES[path]
            try:
                return _answer((WEB / name).read_bytes(), kind)
            except OSError:
                words = "The page's scripts are not made; run python -m padlib.workshop.bundle."
                return _refusal(Refused(404, words))
        raw = request.scope.get("raw_path", path.encode()).decode("latin-1").partition("?")[0]
        if raw.startswith("/result/"):
            return await run_in_threadpool(result, unquote(raw.removeprefix("/result/")))
        return _refusal(Refused(404, "There is no such page in the workshop."))

    def enter(token: str) -> Response:
        """Change the token for the cookie, and go on to the page from a page of our own.

        A redirect would do, but a strict cookie is not sent along one that another site began.
        """
        if not door.knows_token(token):
            return _refusal(Refused(403, "This address is of another run of padlib."))
        name = cookie_name(workshop.port)
        cookie = f"{name}={door.cookie}; HttpOnly; SameSite=Strict; Path=/"
        return _answer(ENTRY.encode(), PAGES["/"][1], extra={"Set-Cookie": cookie})

    def result(name: str) -> Response:
        data = session.file(name)
        if data is None:
            return _refusal(Refused(404, "There is no such file in the newest result."))
        ending = Path(name).suffix
        extra = {} if ending in SHOWN else {"Content-Disposition": "attachment"}
        policy = GUIDE_POLICY if ending == ".html" else POLICY
        return _answer(data, TYPES.get(ending, TYPES[".bin"]), extra=extra, policy=policy)

    async def scan(request: Request) -> Response:
        """A scan handed over by the page: at most so long, looked at apart, then put beside the suit."""
        length = request.headers.get("Content-Length", "")
        if "Transfer-Encoding" in request.headers or not (length.isascii() and length.isdigit()):
            return _refusal(Refused(411, "A request must say how long it is."))
        if len(length) > 12 or int(length) > MOST_SCAN:
            return _refusal(Refused(413, f"A scan has at most {MOST_SCAN // 1_000_000} MB."))
        with Upload(session, parse_qs(request.url.query).get("name", [""])[0]) as upload:
            try:
                async for part in request.stream():
                    await run_in_threadpool(upload.take, part)
                name = await run_in_threadpool(upload.keep)
            except ClientDisconnect:
                return _refusal(Refused(400, "The scan did not come whole."))
            except PadlibError as e:
                return _refusal(Refused(422, str(e)))
        return _answer(json.dumps({"name": name}).encode(), "application/json")

    async def nothing(_: Request) -> Response:
        return _refusal(Refused(404, "There is no such thing to do in the workshop."))

    async def talk(wire: WebSocket) -> None:
        """One page: each message is a question, answered when its work is done."""
        await wire.accept()
        desk, turns, running = Desk(session), asyncio.Semaphore(MOST_AT_ONCE), set()

        async def one(data: bytes) -> None:
            try:
                answer = await run_in_threadpool(desk.answer, data)
                await wire.send_bytes(answer)
            except (WebSocketDisconnect, RuntimeError):
                pass  # the page went away in the middle
            finally:
                turns.release()

        while True:
            told = await wire.receive()
            if told["type"] == "websocket.disconnect":
                break
            data = told.get("bytes")
            if data is None:
                await wire.close(1003)  # only binary messages
                break
            await turns.acquire()
            task = asyncio.create_task(one(data))
            running.add(task)
            task.add_done_callback(running.discard)

    return Starlette(
        routes=[
            Route("/scan", scan, methods=["POST"]),
            WebSocketRoute("/socket", talk),
            Route("/{path:path}", page, methods=["GET"]),
            Route("/{path:path}", nothing, methods=["POST"]),
        ]
    )


def serve(suit: str | None, *, port: int = 0, browser: bool = True) -> None:
    """Serve the workshop page on 127.0.0.1 until the maker presses Ctrl+C in the terminal.

    suit: path of a suit file; None: the demo suit. port: 0 takes a free one. The first line printed
    is the page's address, token included. Raises SuitError where the file cannot be read, InputError
    where the port cannot be had.
    """
    session = Session(suit)
    session.live.begin()
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
    with contextlib.suppress(KeyboardInterrupt):
        server.serve_forever()
    sys.stdout.write("The workshop is closed.\n")
