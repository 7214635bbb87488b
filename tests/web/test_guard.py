"""What stands before every request: size, slowness, names."""

from __future__ import annotations

import asyncio

import pytest

from canopy.settings import WebSettings
from canopy.web.guard import Guard

SETTINGS = WebSettings(upload_max_mb=0.01, upload_count_max=1, form_max_kb=1, body_idle_s=0.1, body_total_s=0.3)


async def _page(scope, receive, send):
    """Reads the body to its end and says how much it was."""
    got, more = 0, True
    while more:
        message = await receive()
        got += len(message.get("body", b""))
        more = message.get("more_body", False)
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": str(got).encode()})


def _ask(parts, *, headers=(), hosts=None, pause_s=0.0):
    """Status, body and headers of the answer to a body that comes in parts."""
    sent, left = [], list(parts)

    async def receive():
        await asyncio.sleep(pause_s)
        if not left:
            await asyncio.sleep(60)
        return {"type": "http.request", "body": left.pop(0), "more_body": bool(left)}

    async def send(message):
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"host", b"farm:8080"), *headers]}
    asyncio.run(Guard(_page, settings=lambda: SETTINGS, hosts=hosts)(scope, receive, send))
    return sent[0]["status"], sent[1]["body"], dict(sent[0]["headers"])


def test_a_body_within_the_limits_passes_with_the_headers_of_every_answer():
    status, body, headers = _ask([b"x" * 500, b"y" * 500])
    assert (status, body) == (200, b"1000")
    assert b"frame-ancestors 'none'" in headers[b"content-security-policy"]


def test_a_body_that_is_too_large_is_ended_whether_or_not_it_says_so():
    # 0.01 MB a photo, one photo, and a form of 1 kB: 11,000 bytes.
    assert _ask([b"x" * 6000, b"x" * 5001])[0] == 413
    assert _ask([b""], headers=[(b"content-length", b"11001")])[0] == 413
    assert _ask([b"x" * 11000])[0] == 200


@pytest.mark.parametrize("length", [b"-1", b"many", b"1e3", "١".encode()])
def test_a_length_that_is_none_is_refused(length):
    assert _ask([b""], headers=[(b"content-length", length)])[0] == 400


def test_a_body_that_stays_silent_is_ended():
    assert _ask([b"x"], pause_s=0.15)[0] == 408  # idle for more than 0.1 s


def test_a_body_that_trickles_is_ended():
    assert _ask([b"x"] * 100, pause_s=0.05)[0] == 408  # never idle, but over 0.3 s in all


@pytest.mark.parametrize(
    ("host", "status"),
    [(b"localhost:8080", 200), (b"127.0.0.1", 200), (b"[::1]:8080", 200), (b"evil.example", 400), (b"", 400)],
)
def test_a_page_for_this_machine_answers_to_its_own_names_only(host, status):
    """Rebinding: a site whose name is made to point at this machine is not answered."""
    hosts = {"localhost", "127.0.0.1", "::1"}
    assert _ask([b""], headers=[(b"host", host)], hosts=hosts)[0] == status
