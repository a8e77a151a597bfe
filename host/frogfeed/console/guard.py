"""Who may ask: the host's name, the origin, and the token of this start. Everything else is turned away unread.

Only names of this machine are taken as Host, so that a page elsewhere cannot reach the console by a name that it makes
point here; a socket also needs an Origin that is the console's own. Two tokens are made at each start: one for the
operator and one for visitors, who can look at everything and change nothing.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'"
)
HEADERS = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-embedder-policy", "require-corp"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=(), usb=(), serial=()"),
    ("cache-control", "no-store"),
)
MOST_BODY = 2048
"""No request has a body that matters; more than this is refused."""


class Role(StrEnum):
    """What a page may do."""

    OPERATOR = "operator"
    VISITOR = "visitor"


@dataclass(frozen=True)
class Access:
    """The tokens of this start, and the names by which the console may be called (host:port, lower case).

    `by_address`: it may also be called by the numeric address on which a request came in (a name could be made to
    point here by somebody else; an address can't).
    """

    hosts: frozenset[str]
    cookie: str
    by_address: bool = False
    operator: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    visitor: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    def role_of(self, token: str | None) -> Role | None:
        """The role that a token gives; None for a wrong one. Takes the same time for all wrong ones."""
        given = (token or "").encode("utf-8", "replace")
        operator = hmac.compare_digest(given, self.operator.encode())
        visitor = hmac.compare_digest(given, self.visitor.encode())
        return Role.OPERATOR if operator else Role.VISITOR if visitor else None


def hosts_for(port: int, names: Iterable[str]) -> frozenset[str]:
    """How the console may be called on this port."""
    return frozenset(f"{f'[{n}]' if ':' in n else n}:{port}".lower() for n in names)


class Guard:
    """ASGI middleware: checks every request and puts the role into the scope; adds the security headers."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through what may pass."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        problem = self._problem(scope, headers)
        if problem is not None:
            await _refuse(scope, receive, send, problem)
            return
        await self._app(scope, receive, _with_headers(send))

    def _called(self, scope: Scope, host: str) -> bool:
        return host in self._access.hosts or (self._access.by_address and host == _address(scope))

    def _problem(self, scope: Scope, headers: Headers) -> str | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._called(scope, hosts[0].lower()):
            return "this console is not called by that name; use the address that it printed at its start"
        origins = headers.getlist("origin")
        own = f"http://{hosts[0].lower()}"
        if any(o.lower() != own for o in origins) or (scope["type"] == "websocket" and len(origins) != 1):
            return "a page of another origin may not use this console"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return "a page of another origin may not use this console"
        if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD"):
            return "only GET and HEAD are answered"
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > MOST_BODY or "transfer-encoding" in headers:
            return "requests have no body here"
        role = self._access.role_of(_cookie(headers, self._access.cookie))
        scope["role"] = role
        entering = scope["type"] == "http" and scope["path"] == "/" and b"key=" in scope.get("query_string", b"")
        if role is None and not entering:
            return "open the address with its key, as printed at the console's start"
        return None


def _address(scope: Scope) -> str:
    """The numeric address and port on which a request came in, as a Host header says it."""
    host, port = scope.get("server") or ("", 0)
    return f"[{host}]:{port}" if ":" in str(host) else f"{host}:{port}"


def _cookie(headers: Headers, name: str) -> str | None:
    try:
        jar: SimpleCookie = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return None
    found = jar.get(name)
    return found.value if found is not None else None


async def _refuse(scope: Scope, receive: Receive, send: Send, problem: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4403, "reason": problem[:100]})
        return
    response: Response = PlainTextResponse(problem + "\n", status_code=403)
    await response(scope, receive, _with_headers(send))


def _with_headers(send: Send) -> Send:
    async def wrapped(message: Message) -> None:
        if message["type"] == "http.response.start":
            present = {k.lower() for k, _ in message.get("headers", [])}
            added = [(k.encode(), v.encode()) for k, v in HEADERS if k.encode() not in present]
            message = {**message, "headers": [*message.get("headers", []), *added]}
        await send(message)

    return wrapped
