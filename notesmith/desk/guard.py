"""The gate in front of the desk: who may call it, from where, with how much, and what a browser may do with answers.

The desk runs on the user's own machine, where any web page open in the browser can try to call it. Each check
below meets one attack: a foreign Host is DNS rebinding, a foreign Origin or a missing token is cross-site request
forgery, no session cookie is another program or user, a long body fills memory, an inline script is injection.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import parse_qsl

import msgspec
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import RedirectResponse, Response

from notesmith.desk.opening import OPEN_PATH, Openings, same

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Refuse = Callable[[int, str], Response]

FORM_LIMIT_BYTES = 256 * 1024
FORM_FIELDS_LIMIT = 80
CHUNK_LIMIT_BYTES = 8 * 1024 * 1024
SAFE_METHODS = frozenset({"GET", "HEAD"})
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; media-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# The published site searches with WebAssembly; its pages hold no inline script either.
SITE_PATHS = ("/preview/", "/site/")
SITE_POLICY = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; media-src 'self'; connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": browsers then send "Origin: null" with our own forms, and nothing could be told apart.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
RECORD_PATH = "/record"
# The one page that may ask for the microphone, and only for itself.
RECORD_PERMISSIONS = "camera=(), microphone=(self), geolocation=(), payment=(), usb=()"


class Keys(msgspec.Struct, frozen=True):
    """The secrets of one run of the desk: the address's token, the cookie's value, the forms' token."""

    opening: str
    session: str
    form: str


def new_keys() -> Keys:
    """Three independent random secrets of 256 bits."""
    return Keys(*(secrets.token_urlsafe(32) for _ in range(3)))


class Guard:
    """ASGI middleware. ``port`` is the one listened on; ``refuse`` makes the answer to what is turned away."""

    def __init__(self, app: App, *, keys: Keys, port: int, refuse: Refuse, openings: Openings) -> None:
        self.app = app
        self.keys = keys
        self.openings = openings
        self.cookie = f"notesmith_desk_{port}"  # cookies are shared by all ports of a host
        self.hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"})
        self.origins = frozenset(f"http://{host}" for host in self.hosts)
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no web sockets here; the server closes the connection
        of_site = scope["path"].startswith(SITE_PATHS)

        async def guarded_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if scope["path"] == RECORD_PATH:
                    headers["permissions-policy"] = RECORD_PERMISSIONS
                headers["content-security-policy"] = SITE_POLICY if of_site else POLICY
                if "cache-control" not in headers:
                    headers["cache-control"] = "no-store"
            await send(message)

        answer = self._check(scope)
        if answer is None and scope["method"] == "POST":
            body = await _body(receive, FORM_LIMIT_BYTES)
            if body is None:
                answer = self.refuse(413, "That is more text than the desk takes at once.")
            else:
                answer = self._check_form(scope, body)
        if answer is not None:
            await answer(scope, receive, guarded_send)
            return
        await self.app(scope, receive, guarded_send)

    def _check(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if len(headers.getlist("host")) != 1 or headers["host"].lower() not in self.hosts:
            return self.refuse(421, "The desk answers only under the address the program printed.")
        if scope["method"] not in SAFE_METHODS | {"POST", "PUT"}:
            return self.refuse(405, "The desk does not know this kind of request.")
        known = same(cookie_parser(headers.get("cookie", "")).get(self.cookie), self.keys.session)
        if scope["path"] == OPEN_PATH and scope["method"] == "GET":
            return RedirectResponse("/", 303) if known else self._opening(scope)
        if not known:
            return self.refuse(403, "Open the desk with the address that the program printed when it started.")
        if scope["method"] in SAFE_METHODS:
            return None
        if headers.get("origin") not in self.origins:
            return self.refuse(403, "This request came from another page than the desk; nothing was changed.")
        if headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return self.refuse(403, "This request came from another site; nothing was changed.")
        length = headers.get("content-length", "")
        if not length.isdigit():
            return self.refuse(411, "The request does not say how long it is.")
        limit = CHUNK_LIMIT_BYTES if scope["method"] == "PUT" else FORM_LIMIT_BYTES
        if int(length[:18]) > limit:
            return self.refuse(413, "That is more than the desk takes at once.")
        if scope["method"] == "PUT" and not same(headers.get("x-desk-token"), self.keys.form):
            return self.refuse(403, "The page is from an earlier run of the desk; load it again.")
        return None

    def _opening(self, scope: Scope) -> Response:
        if not self.openings.take(Request(scope).query_params.get("key")):
            return self.refuse(
                403, "This address was used already, or is from an earlier run. Start the desk again for a new one."
            )
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self.cookie, self.keys.session, httponly=True, samesite="strict", path="/")
        return answer

    def _check_form(self, scope: Scope, body: bytes) -> Response | None:
        headers = Headers(scope=scope)
        if body and not headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
            return self.refuse(415, "The desk takes plain forms only.")
        try:
            fields = parse_qsl(
                body.decode("utf-8"), keep_blank_values=True, max_num_fields=FORM_FIELDS_LIMIT, errors="strict"
            )
        except ValueError:
            return self.refuse(400, "The form could not be read.")
        form = dict(fields)
        if not same(headers.get("x-desk-token") or form.get("token"), self.keys.form):
            return self.refuse(403, "The page is from an earlier run of the desk; load it again. Nothing was changed.")
        scope["form"] = form
        return None


async def _body(receive: Receive, limit: int) -> bytes | None:
    """The whole body, or None where it is longer than the limit (whatever its header said)."""
    parts: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return b"".join(parts)
        size += len(message.get("body", b""))
        if size > limit:
            return None
        parts.append(message.get("body", b""))
        if not message.get("more_body"):
            return b"".join(parts)
