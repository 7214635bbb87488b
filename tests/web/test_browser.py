"""The page in a browser, at the size of a phone and of a screen: what people do, step by step."""

from __future__ import annotations

import os
import re
import shutil
import socket
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import cv2
import pytest
import uvicorn
from browser import AXE, chromium
from playwright.sync_api import sync_playwright

from canopy.store.logbook import corrections, harvests
from canopy.store.newest import latest_of
from canopy.store.notebook import saved_recipes
from canopy.web.app import make_app

from .farm import NOW, PINS, labelled_photo, opened_site

PHONE, SCREEN = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
SCREENSHOTS = "CANOPY_SCREENSHOTS"


@pytest.fixture(scope="module")
def farm_site(measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("browser") / "farm"
    shutil.copytree(measured, folder)
    with opened_site(folder, with_people=True) as site:
        yield site


@pytest.fixture(scope="module")
def address(farm_site):
    """The page, served on loopback in a thread."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    config = uvicorn.Config(make_app(farm_site, hosts=None), port=port, log_level="error", lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    ends = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < ends, "the page did not start"
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="module")
def browser():
    program = chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


@contextmanager
def _visiting(browser, address, name=None, *, size=PHONE, expected=(), **options):
    """A page of a person; at its end there was no error in the console and no request to another host."""
    context = browser.new_context(viewport=size, base_url=address, **options)
    context.clock.set_fixed_time(NOW)  # the phone's day is the farm's
    context.set_default_timeout(15000)
    troubles, hosts = [], set()
    context.on("request", lambda request: hosts.add(request.url.split("/")[2] if "://" in request.url else ""))
    page = context.new_page()
    page.on("console", lambda line: troubles.append(line.text) if line.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: troubles.append(str(error)))
    if name is not None:
        _sign_in(page, name)
    yield page
    context.close()
    assert [text for text in troubles if not any(word in text for word in expected)] == []
    assert hosts - {""} == {address.split("/")[2]}


def _sign_in(page, name):
    page.goto("/sign-in")
    page.get_by_label("Name").fill(name)
    page.get_by_label("PIN or password").fill(PINS[name][1])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/snap")


def _shoot(page, name, tmp_path):
    """A screenshot; kept for the README where the environment names a folder."""
    path = tmp_path / f"{name}.png"
    page.screenshot(path=path)
    if folder := os.environ.get(SCREENSHOTS):
        picture = cv2.imread(str(path))
        cv2.imwrite(str(Path(folder) / f"{name}.webp"), picture, [cv2.IMWRITE_WEBP_QUALITY, 62])


def _cells_of(site, tray):
    with site.store.reading() as connection:
        number = latest_of(connection, tray)
        rows = connection.exec_driver_sql(f"SELECT cell, state, area_mm2 FROM cells WHERE reading_id = {number}")
        return {row[0]: (row[1], row[2]) for row in rows}


def _heads(site, cell):
    with site.store.reading() as connection:
        table = harvests(connection)
    return int(table[(table["cell"] == cell) & (table["tray"] == "R1-05")]["heads"].sum())


def test_sign_in_snap_and_tap_for_the_sum(browser, address, tmp_path):
    photo = tmp_path / "tray.jpg"
    photo.write_bytes(labelled_photo())
    with _visiting(browser, address, expected=("403",)) as page:
        page.goto("/today")
        assert page.url.endswith("/sign-in?to=%2Ftoday")
        page.get_by_label("Name").fill("ana")
        page.get_by_label("PIN or password").fill("no such pin")
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("alert").wait_for()
        _sign_in(page, "ana")
        _shoot(page, "snap", tmp_path)
        page.set_input_files("#gallery", photo)
        page.wait_for_url("**/readings/*")
        assert page.locator("h1").inner_text().startswith("R1-04")
        assert page.locator(".above a.cell").count() == 50
        _shoot(page, "answer", tmp_path)
        page.locator(".above a.cell[data-cell=C3]").click()
        sheet = page.locator("dialog#sheet")
        sheet.get_by_text("Cell C3:").wait_for()
        assert "Decision: " in sheet.inner_text()
        _shoot(page, "sum", tmp_path)
        sheet.get_by_role("button", name="Close").click()
        assert not sheet.is_visible()


def test_several_photos_each_show_their_progress(browser, address, tmp_path):
    files = []
    for number in range(2):
        files.append(tmp_path / f"tray{number}.jpg")
        files[-1].write_bytes(labelled_photo() + bytes([number]))
    with _visiting(browser, address, "ana") as page:
        page.set_input_files("#gallery", files)
        page.locator("#sending a").nth(1).wait_for()
        assert [text.startswith("R1-04: measured") for text in page.locator("#sending a").all_inner_texts()] == [
            True
        ] * 2


def test_set_corners_cells_and_strokes_right(browser, address, farm_site, tmp_path):
    before = _cells_of(farm_site, "R1-01")
    with _visiting(browser, address, "ana") as page:
        page.goto("/tray?id=R1-01")
        page.get_by_role("link", name="Set right").click()
        page.get_by_role("link", name="Corners").click()
        numbers = page.locator("#numbers").input_value().split()
        box = page.locator(".handle[data-corner='2']").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 1, y + 1)
        page.mouse.move(x + 2, y + 1)
        assert page.locator("#loupe").is_visible()
        page.mouse.up()
        assert not page.locator("#loupe").is_visible()
        moved = page.locator("#numbers").input_value().split()
        assert moved[:4] + moved[6:] == numbers[:4] + numbers[6:]
        # The photo is 2400 px wide and shown 360 px wide: 2 px of the screen are 13.3 of the photo.
        assert float(moved[4]) - float(numbers[4]) == pytest.approx(2 * 2400 / 360, abs=0.5)
        page.get_by_role("button", name="Measure with these corners").click()
        page.wait_for_url(re.compile(r"/readings/\d+$"))

        page.get_by_role("link", name="Set right").click()
        page.locator(".above .cell[data-cell=B2]").click()
        assert page.locator("#cell").evaluate("list => Array.from(list.selectedOptions, o => o.text)") == ["B2"]
        page.get_by_role("button", name="Empty", exact=True).click()
        page.wait_for_url(re.compile(r"/readings/\d+$"))
        assert "empty" in page.locator(".above .cell[data-cell=B2]").get_attribute("class")
        assert before["B2"][0] == "planted"
        assert _cells_of(farm_site, "R1-01")["B2"][0] == "empty"

        page.get_by_role("link", name="Set right").click()
        page.get_by_role("button", name="Not plant").click()
        box = page.locator(".above .cell[data-cell=E6] rect").bounding_box()
        page.mouse.move(box["x"] + 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.move(box["x"] + box["width"] - 2, box["y"] + box["height"] / 2)
        page.mouse.up()
        _shoot(page, "set_right", tmp_path)
        page.get_by_role("button", name="Measure with these strokes").click()
        page.wait_for_url(re.compile(r"/readings/\d+$"))
        assert _cells_of(farm_site, "R1-01")["E6"][1] < 0.8 * before["E6"][1]
    with farm_site.store.reading() as connection:
        words = corrections(connection)
    assert set(words["by"]) == {"ana"}
    assert list(words["column"]) == ["corners", "state", "strokes"]


def test_ticks_and_photos_wait_while_the_network_is_cut_and_count_once(browser, address, farm_site, tmp_path):
    photo = tmp_path / "late.jpg"
    photo.write_bytes(labelled_photo() + b"late")
    with _visiting(browser, address, "ana", expected=("ERR_INTERNET_DISCONNECTED", "ERR_FAILED")) as page:
        page.goto("/today")
        kept = "async () => { while (!(await caches.match('/today') && await caches.match('/snap')))"
        page.evaluate(f"{kept} await new Promise((go) => setTimeout(go, 50)); }}")
        left = int(page.locator("#left").inner_text())
        tray = page.locator("section.tray", has=page.get_by_role("heading", name="R1-05"))
        cells = tray.locator(".pick").all_inner_texts()[:3]
        with page.expect_response("**/today/cut"):
            tray.get_by_role("button", name=cells[0], exact=True).click()
        assert _heads(farm_site, cells[0]) == 1

        page.context.set_offline(True)
        tray.get_by_role("button", name=cells[1], exact=True).click()
        tray.get_by_role("button", name=cells[2], exact=True).click()
        page.get_by_text("2 ticks wait on this phone").wait_for()
        assert page.locator("#left").inner_text() == str(left - 3)
        _shoot(page, "today", tmp_path)
        page.reload()  # from what the phone kept
        page.get_by_text("2 ticks wait on this phone").wait_for()
        assert tray.get_by_role("button", name=cells[1], exact=True).get_attribute("aria-pressed") == "true"
        page.goto("/snap")
        page.locator("#tray").select_option("R1-04")
        page.set_input_files("#gallery", photo)
        page.get_by_text("1 photo and 2 ticks wait on this phone").wait_for()
        assert _heads(farm_site, cells[1]) == 0

        page.context.set_offline(False)
        page.wait_for_url("**/readings/*")  # the photo's answer
    assert [_heads(farm_site, cell) for cell in cells] == [1, 1, 1]


def test_board_filter_compare_and_note(browser, address, tmp_path):
    with _visiting(browser, address, "bo", size=SCREEN) as page:
        page.goto("/board")
        assert page.locator("section.card").count() >= 2
        page.get_by_label("Crop").select_option("Pak choi, seedling")
        page.get_by_role("button", name="Show").click()
        assert page.locator("section.card h2 a").all_inner_texts() == ["R1-05"]
        page.get_by_text("Mark as seen").click()
        page.get_by_label("Note").fill("lamp <3 & row A")
        page.get_by_role("button", name="Seen", exact=True).click()
        page.get_by_text("Seen by bo: lamp <3 & row A").wait_for()
        page.goto("/board")
        _shoot(page, "board", tmp_path)
        for tray in ("R1-01", "R1-05"):
            page.locator(f"input[form=compare][value='{tray}']").check()
        page.get_by_role("button", name="Compare the two chosen").click()
        assert page.locator("h1").inner_text() in ("R1-01 and R1-05", "R1-05 and R1-01")
        page.wait_for_load_state("networkidle")
        shown = page.evaluate("Array.from(document.images, (image) => image.naturalWidth)")
        assert len(shown) == 2
        assert min(shown) > 0
        page.goto("/board?age_from=15&age_to=15")
        assert page.locator("section.card h2 a").all_inner_texts() == ["R1-01"]


def test_what_if_shows_which_cells_change_and_is_saved(browser, address, farm_site, tmp_path):
    with _visiting(browser, address, "cleo", size=SCREEN) as page:
        page.goto("/what-if?tray=R1-01")
        assert page.locator("#outcome .swap").count() == 0
        field = page.locator("[id='size.target']")
        now = float(field.input_value())
        field.fill(str(2 * now))
        page.locator("#outcome .swap").first.wait_for()  # without a button
        _shoot(page, "what_if", tmp_path)
        with farm_site.store.reading() as connection:
            assert saved_recipes(connection) == {}  # nothing is kept yet
        page.get_by_label("Why").fill("larger heads")
        page.get_by_role("button", name="Save as a new version").click()
        page.get_by_text("version 1").wait_for()
    with farm_site.store.reading() as connection:
        number, recipe = saved_recipes(connection)["butterhead", "seedling"]
    assert (number, recipe["size"]["target"]) == (1, 2 * now)


def test_without_scripts_one_can_snap_and_tick(browser, address, farm_site, tmp_path):
    photo = tmp_path / "plain.jpg"
    photo.write_bytes(labelled_photo() + b"plain")
    with _visiting(browser, address, "ana", java_script_enabled=False) as page:
        page.set_input_files("#photos", photo)
        page.get_by_role("button", name="Send").click()
        page.wait_for_url("**/readings/*")
        page.locator(".above a.cell[data-cell=C3]").click()
        page.wait_for_url("**/cells/C3")
        page.goto("/today")
        tray = page.locator("section.tray", has=page.get_by_role("heading", name="R1-05"))
        last = tray.locator(".pick").last
        cell = last.inner_text()
        last.click()
        page.wait_for_url("**/today?*")
        assert tray.locator(".pick").last.get_attribute("aria-pressed") == "true"
    assert _heads(farm_site, cell) == 1


PAGES = ("/snap", "/today", "/tray?id=R1-01", "/readings/{}", "/readings/{}/cells/C3", "/readings/{}/set-right",
         "/readings/{}/corners", "/board", "/board/compare?tray=R1-01&tray=R1-05", "/what-if?tray=R1-05")  # fmt: skip


# What is pressed and smaller than 48 CSS pixels (half a pixel for rounding), on one line or in a drawing.
SMALL = """() => {
    const pressed = "button, .button, .pick, select, input, summary, .bar a, ul.list > li > a, .handle";
    const small = (e) => {
        const box = (e.closest("label") || e).getBoundingClientRect();
        return box.width > 0 && !e.matches(".larger") && (box.height < 47.5 || box.width < 47.5);
    };
    return Array.from(document.querySelectorAll(pressed)).filter(small).map((e) => e.outerHTML.slice(0, 120));
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_are_good_for_everybody(browser, address, farm_site, scheme):
    """No serious finding of axe; nothing pressed is too small for a thumb (but for links within text, and cells of the
    picture, which stand in lists below it and in a larger one); no page is wider than its window."""
    with farm_site.store.reading() as connection:
        number = latest_of(connection, "R1-05")
    # In the dark only colours are other than in the light.
    only = ", runOnly: ['color-contrast']" if scheme == "dark" else ""
    run = (
        f"() => axe.run(document, {{resultTypes: ['violations']{only}}}).then((told) => told.violations.map((one) =>"
        " [one.impact, one.id, one.nodes.length, one.nodes[0].html.slice(0, 150)]))"
    )
    found = []
    with _visiting(browser, address, "cleo", color_scheme=scheme) as page:
        for path in PAGES:
            page.goto(path.format(number))
            page.evaluate(AXE)
            found += [(path, *one) for one in page.evaluate(run) if one[0] in ("serious", "critical")]
            assert scheme == "dark" or page.evaluate(SMALL) == [], path
            for width in (360, 768, 1440) if scheme == "light" else ():
                page.set_viewport_size({"width": width, "height": 800})
                assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    assert found == []


def test_the_sign_in_page_is_good_for_everybody(browser, address):
    with _visiting(browser, address) as page:
        page.goto("/sign-in")
        page.evaluate(AXE)
        assert page.evaluate("() => axe.run(document).then((told) => told.violations.map((one) => one.id))") == []
        assert page.evaluate(SMALL) == []
