"""Phones that send photos: time from snap to answer, then many at once; nothing may be lost or answered with 5xx.

    OMP_NUM_THREADS=1 python -m benchmarks.phones                  # 12 MP, five one after another, then 50 at once

Starts `canopy serve` on a farm drawn on the spot and sends over loopback, each photo another content.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from datetime import datetime
from http.cookiejar import CookieJar
from pathlib import Path

import cv2
import numpy as np

from canopy.synthetic.files import jpeg_bytes, tray_line
from canopy.synthetic.render import render
from canopy.synthetic.scenes import make_scene
from canopy.synthetic.truth import measure_truth

TRAY = "P1-01"
SEED = 987_654
TAKEN_AT = datetime(2026, 5, 6, 5, 40)
GOAL_S = 1.5
START_S, DONE_S = 60.0, 600.0
_BOUNDARY = "----canopyphones"


def draw_farm(folder: Path, *, width_px: int) -> bytes:
    """A tray list in the folder; the photo of its tray with the label beside it."""
    scene = make_scene("plain", seed=SEED, width_px=width_px, height_px=width_px * 3 // 4)
    picture = render(scene)
    code = cv2.QRCodeEncoder.create().encode(TRAY)
    scale = max(3, width_px // 600)
    code = cv2.resize(code, None, fx=scale, fy=scale, interpolation=cv2.INTER_NEAREST)
    x = (width_px - code.shape[1]) // 2
    picture.rgb[8 : 8 + code.shape[0], x : x + code.shape[1]] = code[:, :, None]
    line = tray_line(scene, measure_truth(scene), file_name="none.jpg", taken_at=TAKEN_AT)
    fields = {**line, "photo": "", "tray": TRAY, "crop": "butterhead", "stage": "seedling", "camera_height_mm": ""}
    text = ",".join(fields) + "\n" + ",".join(str(value) for value in fields.values()) + "\n"
    (folder / "trays.csv").write_text(text, encoding="utf-8")
    return jpeg_bytes(picture, scene, taken_at=TAKEN_AT)


class Phone:
    """One browser, without scripts."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        html = self.opener.open(f"{address}/snap", timeout=DONE_S).read().decode()
        self.csrf = re.search(r'name="csrf" value="([0-9a-f]+)"', html)[1]

    def send(self, photo: bytes, key: str) -> tuple[int, dict[str, str], float]:
        """Status, what was told of the photo, seconds."""
        parts = [f'--{_BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
                 for name, value in (("csrf", self.csrf), ("key", key))]  # fmt: skip
        head = f'--{_BOUNDARY}\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
        body = ("".join(parts) + head).encode() + photo + f"\r\n--{_BOUNDARY}--\r\n".encode()
        headers = {"content-type": f"multipart/form-data; boundary={_BOUNDARY}", "accept": "application/json"}
        start = time.perf_counter()
        try:
            asked = urllib.request.Request(f"{self.address}/snap", data=body, headers=headers)
            with self.opener.open(asked, timeout=DONE_S) as answer:
                return answer.status, json.load(answer)[0], time.perf_counter() - start
        except urllib.error.HTTPError as error:
            return error.code, {}, time.perf_counter() - start

    def state(self, key: str) -> str:
        """What became of a photo."""
        asked = urllib.request.Request(f"{self.address}/snaps/{key}", headers={"accept": "application/json"})
        return json.load(self.opener.open(asked, timeout=DONE_S))["state"]


def memory_mb(process: int) -> float:
    """Peak memory of a process and its children, added up."""
    total = 0
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            fields = dict(line.split(":", 1) for line in status.read_text().splitlines() if ":" in line)
        except OSError:
            continue
        if int(status.parent.name) == process or int(fields["PPid"]) == process:
            total += int(fields.get("VmHWM", "0 kB").split()[0])
    return total / 1000


def _started(folder: Path) -> tuple[subprocess.Popen[bytes], str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    serve = [sys.executable, "-m", "canopy", "serve", str(folder), "--port", str(port)]
    process = subprocess.Popen(serve, stdout=subprocess.DEVNULL)
    ends = time.monotonic() + START_S
    while time.monotonic() < ends:
        with socket.socket() as door:
            if door.connect_ex(("127.0.0.1", port)) == 0:
                return process, f"http://127.0.0.1:{port}"
        time.sleep(0.1)
    process.kill()
    raise RuntimeError("the page did not start")


def _one_by_one(phone: Phone, photo: bytes, repeat: int, process: int) -> float:
    phone.send(photo + b"first", "single-first")  # waits for what is loaded on first use
    while phone.state("single-first") == "waiting":
        time.sleep(0.2)
    times, busy = [], processor_s(process)
    for number in range(repeat):
        status, told, took = phone.send(photo + b"one" + bytes([number]), f"single-{number:04d}")
        assert (status, told.get("state"), told.get("tray")) == (200, "read", TRAY), (status, told)
        times.append(took)
    middle = statistics.median(times)
    busy = (processor_s(process) - busy) / repeat
    print(f"snap to answer: {middle:.2f} s in the middle of {repeat} ({min(times):.2f} to {max(times):.2f});")
    print(f"  {busy:.2f} s of processor each, which says it also where others use this machine")
    return middle


def processor_s(process: int) -> float:
    """Seconds of processor that a process and its children have used."""
    ticks = 0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if process in (int(stat.parent.name), int(fields[1])):
            ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def _at_once(address: str, photo: bytes, phones: int) -> bool:
    answers: dict[int, tuple[int, dict[str, str], float]] = {}

    def send(number: int) -> None:
        data = photo + b"many" + number.to_bytes(2, "big")
        answers[number] = Phone(address).send(data, f"phone-{number:04d}")

    start = time.perf_counter()
    threads = [threading.Thread(target=send, args=(number,)) for number in range(phones)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    statuses = Counter(status for status, _, _ in answers.values())
    asking = Phone(address)
    states: Counter[str] = Counter()
    ends = time.monotonic() + DONE_S
    while time.monotonic() < ends:
        states = Counter(asking.state(f"phone-{number:04d}") for number in range(phones))
        if not states["waiting"]:
            break
        time.sleep(1)
    took = time.perf_counter() - start
    slowest = max(took for _, _, took in answers.values())
    print(f"{phones} at once: statuses {dict(statuses)}, states {dict(states)}, all measured after {took:.0f} s,")
    print(f"  the last one taken in after {slowest:.1f} s")
    return statuses == {200: phones} and states == {"read": phones}


def main() -> int:
    """Send; 1 when something was lost or refused."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--width", type=int, default=4000, help="of the photo, pixels; its height is three quarters")
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    np.seterr(all="ignore")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        photo = draw_farm(folder, width_px=given.width)
        megapixels = given.width * (given.width * 3 // 4) / 1e6
        print(f"photo of {megapixels:.0f} MP, {len(photo) / 1e6:.1f} MB; goal {GOAL_S} s")
        process, address = _started(folder)
        try:
            _one_by_one(Phone(address), photo, given.repeat, process.pid)
            before = memory_mb(process.pid)
            good = _at_once(address, photo, given.phones)
            print(
                f"peak memory: {before:.0f} MB before, {memory_mb(process.pid):.0f} MB after (page and its processes)"
            )
        finally:
            process.terminate()
            process.wait(timeout=30)
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
