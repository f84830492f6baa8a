"""Who may speak to the pages: only browsers that know them by a name of ours, and what the answers allow a browser.

A website can make its own name lead to this machine (DNS rebinding) and then speak to the pages as if they were its
own. Its name stays in the Host and Origin of what the browser sends, so requests and web sockets under other names are
refused before Streamlit sees them. Plain ASGI, round the whole application.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import re
import secrets
from collections import Counter
from collections.abc import Awaitable, Callable, Collection, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import urlsplit

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

COOKIE = "qclog_page"
_MEDIA = "/media/"


class Guard:
    """An ASGI application that passes on to `app` what may come in.

    Parameters
    ----------
    own : the address the server listens at, which may be a name.
    hosts : other names under which browsers reach the pages, such as that of a proxy.
    policy : the Content-Security-Policy of every answer.
    """

    def __init__(self, app: App, *, own: str, hosts: Collection[str], policy: str) -> None:
        self.app = app
        self.proxies = frozenset(name.lower().rstrip(".") for name in hosts)
        self.hosts = self.proxies | {own.lower(), "localhost"}
        self.policy = policy
        self._open: Counter[str] = Counter()  # web sockets of each browser: a page is open while it has one

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Refuse, or pass on."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = _headers(scope)
        fault = self.fault_of(headers)
        browser = _browser(headers)
        if fault is None and scope["type"] == "http" and scope["path"].startswith(_MEDIA) and not self._open[browser]:
            fault = "what a page gives to download is only for the browser that has the page open: open it again"
        if fault is not None:
            await _refuse(scope, receive, send, fault)
        elif scope["type"] == "websocket":
            self._open[browser] += bool(browser)
            try:
                await self.app(_as_same(scope, headers), receive, send)
            finally:
                self._open -= Counter({browser: 1})
        else:
            await self.app(scope, receive, self._dressed(send, new=not browser))

    def fault_of(self, headers: dict[str, list[str]]) -> str | None:
        """Why a request with these headers is refused; None if it may come in."""
        hosts = headers.get("host", [])
        if len(hosts) != 1 or not self._is_ours(_name_of(f"//{hosts[0]}")):
            named = hosts[0][:80] if hosts else "no name"
            return f"these pages are not known as {named}: whoever started them can allow it with --host-name"
        for origin in headers.get("origin", []):
            same = urlsplit(origin).netloc.lower() == hosts[0].lower()
            if not same and _name_of(origin) not in self.proxies:
                return f"pages of {origin[:80]} may not speak to these"
        return None

    def _is_ours(self, name: str | None) -> bool:
        """An address can't be made to lead elsewhere, as a name can."""
        if name is None:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return name in self.hosts
        return True

    def _dressed(self, send: Send, *, new: bool) -> Send:
        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = [*message.get("headers", []), *((k, v.encode()) for k, v in self._rules())]
                if new and any(k.lower() == b"content-type" and b"text/html" in v for k, v in headers):
                    cookie = f"{COOKIE}={secrets.token_urlsafe(24)}; Path=/; HttpOnly; SameSite=Lax"
                    headers.append((b"set-cookie", cookie.encode()))
                message = {**message, "headers": headers}
            await send(message)

        return dressed

    def _rules(self) -> list[tuple[bytes, str]]:
        return [
            (b"content-security-policy", self.policy),
            (b"x-frame-options", "DENY"),
            (b"x-content-type-options", "nosniff"),
            (b"referrer-policy", "same-origin"),
        ]


def policy_for(page: str) -> str:
    """A Content-Security-Policy for `page` (HTML): nothing from elsewhere, in no frame, no script but its own."""
    inline = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    digests = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in inline]
    scripts = " ".join(["'self'", "blob:", *(f"'sha256-{digest}'" for digest in digests)])
    return (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:;"
        " font-src 'self' data:; connect-src 'self' data:; worker-src 'self' blob:; object-src 'none'; base-uri 'none';"
        " form-action 'self'; frame-ancestors 'none'"
    )


def _as_same(scope: Message, headers: dict[str, list[str]]) -> Message:
    """The request with the Host that its Origin names, which was found to be ours.

    Where a proxy has put another, Streamlit would ask the internet for this machine's address to compare.
    """
    origins = headers.get("origin", [])
    if not origins:
        return scope
    host = (b"host", urlsplit(origins[0]).netloc.encode("latin-1"))
    return {**scope, "headers": [*((k, v) for k, v in scope["headers"] if k.lower() != b"host"), host]}


def _headers(scope: Message) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _name_of(url: str) -> str | None:
    """The host of a URL, in small letters; None if it has none that can be read."""
    try:
        parts = urlsplit(url)
        _ = parts.port  # also looks whether it is a number
    except ValueError:
        return None
    if parts.username is not None or parts.path.strip("/") or parts.hostname is None:
        return None
    return parts.hostname.rstrip(".")


def _browser(headers: dict[str, list[str]]) -> str:
    """The browser's mark, which it was given with its first page; empty if it has none."""
    try:
        cookies = SimpleCookie("; ".join(headers.get("cookie", [])))
    except CookieError:
        return ""
    return cookies[COOKIE].value if COOKIE in cookies else ""


async def _refuse(scope: Message, receive: Receive, send: Send, why: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": why[:120]})  # which answers 403
        return
    text = f"{why}\n".encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(text)).encode())]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": text})
