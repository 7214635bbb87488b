"""Redo what README.md shows of the tool's real output.

    canopy score sample_images --out out
    python -m benchmarks.draw_readme out            # texts into README.md, pictures into sample_images/readme/overlays/
    python -m benchmarks.draw_readme out --texts    # the texts only

The texts are one cell's sum, and the reasons for which a photo is set aside or doubted. The picture
of the report is taken with the browser `chromium` at the width of a phone; that of the sheet is its first page.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.batch.explanation import explain_photo
from canopy.reasons import REASONS
from canopy.settings.sheet import SheetSettings
from canopy.sheet import draw_sheet, plan_for
from canopy.words import words_in

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
PICTURES = ROOT / "sample_images" / "readme" / "overlays"
"""A folder of this name is passed over when sample_images is searched for photos."""

PICTURE_TRAY = "R1-04"
EXAMPLE_PHOTO, EXAMPLE_CELL = "sample_images/farm/R1-04_2026-05-04.jpg", "B11"

LARGEST_BYTES = 240_000
OVERLAY_WIDTH_PX = 1200
PHONE_PX = (390, 900)
GAP_PX = 24
SHEET_SCALE = 1.1
MAPS_PX = (1420, 480)
PIXELS_PER_PX = 1.5

Picture = NDArray[np.uint8]


def draw_overlay(results: Path) -> None:
    """The picture of one tray with its decisions."""
    whole = cv2.imread(str(results / "overlays" / f"{_stem(results)}.jpg"))
    height_px = round(whole.shape[0] * OVERLAY_WIDTH_PX / whole.shape[1])
    small = cv2.resize(whole, (OVERLAY_WIDTH_PX, height_px), interpolation=cv2.INTER_AREA)
    _write(PICTURES / "overlay.jpg", small)


def draw_phone(results: Path) -> None:
    """Two phones side by side: the head of the report, and one tray with a cell tapped."""
    width, height = PHONE_PX
    with tempfile.TemporaryDirectory() as folder:
        report = (results / "report.html").read_text(encoding="utf-8")
        anchor = _anchor(report)
        Path(folder, "report.html").write_text(_tapped(report, anchor.end()), encoding="utf-8")
        frames = "".join(
            f'<iframe src="report.html{place}" width="{width}" height="{height}"></iframe>'
            for place in ("", f"#{anchor[1]}")
        )
        style = f"body {{ margin: {GAP_PX}px; display: flex; gap: {GAP_PX}px }} iframe {{ border: 1px solid #888 }}"
        Path(folder, "page.html").write_text(f"<style>{style}</style>{frames}", encoding="utf-8")
        _write(PICTURES / "report_phone.jpg", _screenshot(Path(folder), 2 * width + 3 * GAP_PX, height + 2 * GAP_PX))


def draw_maps(results: Path) -> None:
    """Two maps of one tray, as the report draws them."""
    report = (results / "report.html").read_text(encoding="utf-8")
    section = report[_anchor(report).start() :]
    maps = re.findall(r'<svg class="chart".*?</svg>', section, flags=re.DOTALL)[:2]
    style = f"body {{ margin: {GAP_PX}px; display: flex; gap: {GAP_PX}px; align-items: flex-start }}"
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "page.html").write_text(f"<meta charset=utf-8><style>{style}</style>{''.join(maps)}", "utf-8")
        _write(PICTURES / "report_maps.jpg", _screenshot(Path(folder), *MAPS_PX))


def draw_sheet_page() -> None:
    """The first page of the sheet for A4."""
    import pypdfium2 as pdfium  # here: the texts need none of it

    pdf = draw_sheet(plan_for("a4"), words=words_in("en"), settings=SheetSettings())
    page = np.array(pdfium.PdfDocument(pdf)[0].render(scale=SHEET_SCALE).to_pil().convert("RGB"))
    framed = cv2.copyMakeBorder(page, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=(150, 150, 150))
    _write(PICTURES / "sheet.jpg", np.asarray(framed[:, :, ::-1], np.uint8))


def _anchor(report: str) -> re.Match[str]:
    """Where the tray's part of the report begins; its name is the group."""
    found = re.search(rf'id="(tray-\d+)"[^>]*>\s*<h2[^>]*>{re.escape(PICTURE_TRAY)}[ <]', report)
    assert found, f"the report shows no tray {PICTURE_TRAY}"
    return found


def _tapped(report: str, start: int) -> str:
    """The report with the first pick after a place opened, as a finger would."""
    return report[:start] + report[start:].replace('<details class="pick">', '<details class="pick" open>', 1)


def _screenshot(folder: Path, width: int, height: int) -> Picture:
    command = [
        "chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
        f"--user-data-dir={folder / 'profile'}", f"--force-device-scale-factor={PIXELS_PER_PX}",
        f"--window-size={width},{height}", f"--screenshot={folder / 'page.png'}", (folder / "page.html").as_uri(),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True)
    return np.asarray(cv2.imread(str(folder / "page.png")), np.uint8)


def _stem(results: Path) -> str:
    """Name of the pictures made from the first photo of the tray, from the run file."""
    photos = json.loads((results / "run.json").read_text(encoding="utf-8"))["photos"]
    return next(str(photo["stem"]) for photo in photos if photo["tray"] == PICTURE_TRAY)


def _write(path: Path, picture: Picture) -> None:
    """As JPEG, as good as fits."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    for quality in range(90, 30, -4):
        data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        if len(data) <= LARGEST_BYTES:
            break
    path.write_bytes(data.tobytes())
    print(f"{path.relative_to(ROOT)}  {len(data) / 1000:.0f} kB")


def put_texts() -> None:
    """What `canopy explain` says of one cell, its sum by hand, and all reasons, between marks in README.md."""
    photo = ROOT / EXAMPLE_PHOTO
    told = explain_photo(photo, EXAMPLE_CELL, trays=ROOT / "sample_images" / "trays.csv", settings=None)
    command = f".venv/bin/canopy explain {EXAMPLE_PHOTO} {EXAMPLE_CELL} --trays sample_images/trays.csv"
    texts = {
        "explain": ["```console", f"$ {command}", *told.lines, "```"],
        "by hand": ["```text", *by_hand(told.lines), "```"],
        "reasons": reason_lines(),
    }
    readme = README.read_text(encoding="utf-8")
    for name, lines in texts.items():
        readme = between_marks(readme, name, "\n".join(lines))
    README.write_text(readme, encoding="utf-8")


def between_marks(readme: str, name: str, text: str) -> str:
    """The text put between `<!-- name -->` and `<!-- end of name -->`."""
    begin, end = f"<!-- {name} -->", f"<!-- end of {name} -->"
    before, found, rest = readme.partition(begin)
    _, ended, after = rest.partition(end)
    assert found, f"README.md: the mark {begin} is missing"
    assert ended, f"README.md: the mark {end} is missing"
    return f"{before}{begin}\n{text}\n{end}{after}"


def reason_lines() -> list[str]:
    """A table of all reasons."""
    rows = [
        f"| `{reason.code}` | {reason.short} | {'set aside' if reason.blocks else 'remark'} | {reason.advice} |"
        for reason in REASONS.values()
    ]
    return ["| reason | meaning | effect | what to do |", "| --- | --- | --- | --- |", *rows]


def by_hand(lines: list[str]) -> list[str]:
    """Each desirability raised to its share, and the product of them, with four decimals."""
    shares = dict(re.findall(r"(\w+) (\d\.\d{4})", next(line for line in lines if line.startswith("Weights"))))
    names = [line.split(" (")[0] for line in lines if re.match(r"\w+ \(\w+\): ", line)]
    d = [line.rpartition(" = ")[2] for line in lines if line.startswith("  d = ")]
    sums, product = [], 1.0
    for name, value in zip(names, d, strict=True):
        factor = round(float(value) ** float(shares[name]), 4)
        product *= factor
        sums.append(f"{name:<8}{value} ^ {shares[name]} = {factor:.4f}")
    return [*sums, f"product of these = {product:.4f}, times 100 = {100 * product:.1f}"]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("results", type=Path, help="folder that `canopy score sample_images` wrote")
    parser.add_argument("--texts", action="store_true", help="leave the pictures as they are")
    given = parser.parse_args()
    put_texts()
    if given.texts:
        return
    if shutil.which("chromium") is None:
        parser.error("the browser `chromium` is needed for the picture of the report")
    draw_overlay(given.results)
    draw_phone(given.results)
    draw_maps(given.results)
    draw_sheet_page()


if __name__ == "__main__":
    main()
