"""Which names and origins the pages answer to. The rules of hosts and origins are those of RFC 9110 and RFC 6454."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import pytest

from qclog.web.guard import COOKIE, Guard, policy_for

Headers = dict[str, str]


async def inner(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        await receive()
        return
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/html")]})
    await send({"type": "http.response.body", "body": b"the page"})


def guard() -> Guard:
    return Guard(inner, own="127.0.0.1", hosts=["qclog.example"], policy="default-src 'self'")


async def ask(around: Guard, kind: str, headers: Headers, path: str = "/") -> list[Any]:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> dict[str, str]:
        return {"type": "websocket.connect"}

    pairs = [(k.encode(), v.encode()) for k, v in headers.items()]
    await around({"type": kind, "path": path, "headers": pairs}, receive, send)
    return sent


ALLOWED: list[Headers] = [
    {"host": "127.0.0.1:8501"},
    {"host": "localhost:8501"},
    {"host": "LOCALHOST"},
    {"host": "[::1]:8501"},
    {"host": "192.0.2.7:8501"},
    {"host": "qclog.example"},
    {"host": "QClog.Example.:8501"},
    {"host": "127.0.0.1:8501", "origin": "http://127.0.0.1:8501"},
    {"host": "qclog.example", "origin": "https://qclog.example"},
    {"host": "127.0.0.1:8501", "origin": "https://qclog.example"},
]
REFUSED: list[Headers] = [
    {},
    {"host": ""},
    {"host": "evil.example"},
    {"host": "evil.example:8501", "origin": "http://evil.example:8501"},
    {"host": "127.0.0.1.evil.example:8501"},
    {"host": "localhost.evil.example"},
    {"host": "qclog.example.evil.example"},
    {"host": "evil.example@127.0.0.1:8501"},
    {"host": "127.0.0.1:8501/evil"},
    {"host": "127.0.0.1:port"},
    {"host": "0x7f000001"},
    {"host": "[::1"},
    {"host": "127.0.0.1:8501", "origin": "http://evil.example"},
    {"host": "127.0.0.1:8501", "origin": "http://127.0.0.1:9999"},
    {"host": "127.0.0.1:8501", "origin": "http://localhost:8501"},
    {"host": "127.0.0.1:8501", "origin": "null"},
    {"host": "127.0.0.1:8501", "origin": "http://192.0.2.7:8501"},
    {"host": "127.0.0.1:8501", "origin": "http://qclog.example.evil.example"},
    {"host": "127.0.0.1:8501", "origin": "http://qclog.example@evil.example"},
    {"host": "127.0.0.1:8501", "origin": ""},
]


T = TypeVar("T")


def in_a_loop(what: Coroutine[Any, Any, T]) -> T:
    """In a loop and a thread of its own: the browser tests before may have left a loop running in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, what).result()


@pytest.mark.parametrize("headers", ALLOWED)
def test_who_is_answered(headers: Headers) -> None:
    start, body = in_a_loop(ask(guard(), "http", headers))
    assert (start["status"], body["body"]) == (200, b"the page")
    names = {name for name, _ in start["headers"]}
    assert {b"content-security-policy", b"x-frame-options", b"x-content-type-options", b"set-cookie"} <= names
    assert in_a_loop(ask(guard(), "websocket", headers)) == [{"type": "websocket.accept"}]


@pytest.mark.parametrize("headers", REFUSED)
def test_who_is_refused(headers: Headers) -> None:
    start, body = in_a_loop(ask(guard(), "http", headers))
    assert start["status"] == 403
    assert b"the page" not in body["body"]
    (closed,) = in_a_loop(ask(guard(), "websocket", headers))
    assert closed["type"] == "websocket.close"


def test_what_streamlit_is_told_needs_no_look_at_the_internet() -> None:
    """It compares Origin and Host as they are written, and looks up this machine's addresses where they differ."""
    seen: list[Any] = []

    async def keep(scope: Any, *_: Any) -> None:
        seen.append(dict(scope["headers"]))

    around = Guard(keep, own="127.0.0.1", hosts=["qclog.example"], policy="")
    for headers in (h for h in ALLOWED if "origin" in h):
        in_a_loop(ask(around, "websocket", headers))
        assert seen[-1][b"origin"].split(b"//")[1] == seen[-1][b"host"]
    assert len(seen) == 3


def test_a_second_host_is_refused() -> None:
    around = guard()
    assert around.fault_of({"host": ["127.0.0.1", "evil.example"]}) is not None


def test_what_is_downloaded_needs_an_open_page() -> None:
    async def story() -> list[int]:
        around, host = guard(), {"host": "127.0.0.1"}
        mine = host | {"cookie": f"a=b; {COOKIE}=mine"}
        still = asyncio.Event()

        async def receive() -> dict[str, str]:
            await still.wait()
            return {"type": "websocket.disconnect"}

        async def send(_: Any) -> None:
            return None

        async def get(headers: Headers) -> int:
            return int((await ask(around, "http", headers, "/media/card.pdf"))[0]["status"])

        pairs = [(k.encode(), v.encode()) for k, v in mine.items()]
        before = await get(mine)
        scope = {"type": "websocket", "path": "/_stcore/stream", "headers": pairs}
        page = asyncio.create_task(around(scope, receive, send))
        await asyncio.sleep(0)
        during = [await get(mine), await get(host), await get(host | {"cookie": f"{COOKIE}=other"})]
        still.set()
        await page
        return [before, *during, await get(mine)]

    assert in_a_loop(story()) == [403, 200, 403, 403, 403]


def test_the_policy_allows_the_scripts_of_the_page_itself_and_no_others() -> None:
    # the digest of `x` is that of `printf x | openssl dgst -sha256 -binary | base64`
    policy = policy_for("<script>x</script><script type=module src=a.js></script>")
    assert "script-src 'self' blob: 'sha256-LXEWQrcmsEQBYnyp+6wy9chTD7GQPMTbAiWHF5IaSIE='" in policy
    assert "unsafe-eval" not in policy
    assert "frame-ancestors 'none'" in policy
