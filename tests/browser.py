"""Pages in a real browser: Debian's Chromium, driven from tests; no page may ask anybody else for anything."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page, sync_playwright
from store.postgres import IN_EARNEST

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
HOW = "the browser `chromium` is not installed; install it to run the tests of pages"
PHONE, TABLET, DESK = (360, 780), (768, 1024), (1440, 900)


def chromium() -> str:
    """The browser's program; without one the test is skipped, or fails where none may be left out."""
    program = shutil.which("chromium")
    if program is not None:
        return program
    if os.environ.get(IN_EARNEST):
        pytest.fail(HOW)
    pytest.skip(HOW)


@contextmanager
def opened(html: str | Path, *, size: tuple[int, int], dark: bool = False, script: bool = True) -> Iterator[Page]:
    """A page of HTML text, or of a file, at a size; errors on its console and requests to hosts fail the test."""
    program = chromium()
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        try:
            context = browser.new_context(
                viewport={"width": size[0], "height": size[1]},
                color_scheme="dark" if dark else "light",
                java_script_enabled=script,
            )
            page = context.new_page()
            told: list[str] = []
            page.on("console", lambda message: told.append(message.text) if message.type == "error" else None)
            page.on("pageerror", lambda error: told.append(str(error)))
            page.on("request", lambda request: told.append(request.url) if request.url.startswith("http") else None)
            if isinstance(html, Path):
                page.goto(html.as_uri())
            else:
                page.set_content(html)
            yield page
            assert told == []
        finally:
            browser.close()


def barriers(page: Page) -> list[str]:
    """What axe-core finds wrong by the rules of WCAG 2.2 A and AA and its own best practices: rule, and where."""
    page.evaluate(AXE)
    found = page.evaluate(
        "() => axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    return [f"{rule['id']}: {node['html'][:160]}" for rule in found["violations"] for node in rule["nodes"]]
