"""Fit the sight of trays to drawn pictures and write its weights.

    python -m benchmarks.train_sight.fit FOLDER --out canopy/tray/sight_net.onnx --minutes 15

Runs on one processor core; the folder may still be filling.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812
from numpy.typing import NDArray
from torch import Tensor

from benchmarks.train_sight.network import BLOCK, MAPS, SightNet

WIDTH, HEIGHT = 192, 144
LINE_PX = 0.9
"""Half width of the lines along outlines."""
Rng = np.random.Generator
FloatArray = NDArray[np.float64]


class Library:
    """Pictures with their outlines in memory, as they come."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.seen: set[str] = set()
        self.items: list[tuple[NDArray[np.uint8], list[FloatArray]]] = []

    def take_in(self, most: int = 400) -> None:
        """Read what is new, at most so many at a time."""
        new = [path for path in sorted(self.folder.glob("*.json")) if path.stem not in self.seen][:most]
        for path in new:
            rgb = cv2.imread(str(path.with_suffix(".jpg")))
            self.items.append((np.asarray(rgb[..., ::-1]), [np.array(q) for q in json.loads(path.read_text())]))
            self.seen.add(path.stem)


def sample(rgb: NDArray[np.uint8], outlines: list[FloatArray], rng: Rng) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """A moved, turned, mirrored, recoloured view (HEIGHT, WIDTH, 3) and its maps (MAPS, HEIGHT, WIDTH), 0..255."""
    matrix = _random_view(rgb.shape[1], rgb.shape[0], rng)
    border = int(rng.choice([cv2.BORDER_REFLECT, cv2.BORDER_REPLICATE, cv2.BORDER_CONSTANT]))
    picture = cv2.warpAffine(rgb, matrix, (WIDTH, HEIGHT), flags=cv2.INTER_AREA, borderMode=border)
    moved = [q @ matrix[:, :2].T + matrix[:, 2] for q in outlines]
    if border == cv2.BORDER_REFLECT and outlines:  # a mirrored tray would be an unmarked tray
        picture = cv2.warpAffine(rgb, matrix, (WIDTH, HEIGHT), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    return _recoloured(np.asarray(picture, np.uint8), rng), draw_maps(moved)


def _random_view(width: int, height: int, rng: Rng) -> FloatArray:
    scale = WIDTH / width * float(np.exp(rng.normal(0, 0.12)))
    angle = float(rng.choice([0, 90, 180, 270]) if rng.random() < 0.4 else 0) + rng.normal(0, 3)
    flip = -1.0 if rng.random() < 0.5 else 1.0
    c, s = scale * math.cos(math.radians(angle)), scale * math.sin(math.radians(angle))
    turn = np.array([[c * flip, -s], [s * flip, c]])
    shift = np.array([WIDTH, HEIGHT]) / 2 + rng.normal(0, 4, 2) - turn @ np.array([width, height]) / 2
    return np.column_stack([turn, shift])


def draw_maps(outlines: list[FloatArray]) -> NDArray[np.uint8]:
    """Any tray, this tray and outline lines, softened by a pixel's width."""
    fine = 4
    maps = np.zeros((MAPS, HEIGHT * fine, WIDTH * fine), np.uint8)
    for number, corners in enumerate(outlines):
        points = np.clip((corners + 0.5) * fine * 16, -1e6, 1e6).round().astype(np.int32)
        cv2.fillPoly(maps[0], [points], 255, cv2.LINE_8, 4)
        cv2.polylines(maps[2], [points], True, 255, int(2 * LINE_PX * fine), cv2.LINE_8, 4)
        if number == 0:
            cv2.fillPoly(maps[1], [points], 255, cv2.LINE_8, 4)
    return np.stack([cv2.resize(m, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA) for m in maps])


def _recoloured(rgb: NDArray[np.uint8], rng: Rng) -> NDArray[np.uint8]:
    """Gain, balance, tone, hue and saturation, blur, noise."""
    x = rgb.astype(np.float32) / 255
    if rng.random() < 0.5:
        hsv = cv2.cvtColor(x, cv2.COLOR_RGB2HSV)
        hsv[..., 0] = (hsv[..., 0] + rng.normal(0, float(rng.choice([8, 60])))) % 360
        hsv[..., 1] = np.clip(hsv[..., 1] * np.exp(rng.normal(0, 0.3)), 0, 1)
        x = cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)
    x = x * np.exp(rng.normal(0, 0.12, 3)).astype(np.float32) * np.float32(np.exp(rng.normal(0, 0.25)))
    x = np.clip(x, 0, 1) ** np.float32(np.exp(rng.normal(0, 0.2)))
    if rng.random() < 0.3:
        x = cv2.GaussianBlur(x, (0, 0), float(rng.uniform(0.3, 1.0)))
    x = x + rng.normal(0, float(rng.choice([0, 0.01, 0.03])), x.shape).astype(np.float32)
    return np.asarray(np.clip(x * 255, 0, 255), np.uint8)


def loss_of(logits: Tensor, maps: Tensor) -> Tensor:
    """Cross-entropy of the three maps at full resolution, plus one minus the soft overlap of this tray."""
    full = F.pixel_shuffle(logits, BLOCK)
    entropy = F.binary_cross_entropy_with_logits(full, maps)
    own, truth = torch.sigmoid(full[:, 1]), maps[:, 1]
    overlap = (2 * (own * truth).sum((1, 2)) + 20) / ((own + truth).sum((1, 2)) + 20)
    return 2 * entropy + 0.5 * (1 - overlap).mean()


def fit(folder: Path, *, minutes: float, batch: int, seed: int, keep: Path, start: Path | None) -> SightNet:
    """Train for a given time with a one-cycle rate."""
    torch.manual_seed(seed)
    torch.set_num_threads(1)
    rng = np.random.default_rng(seed)
    library, net = Library(folder), SightNet().to(memory_format=torch.channels_last)
    library.take_in()
    if start is not None:
        net.load_state_dict(torch.load(start))
    print(sum(p.numel() for p in net.parameters()), "weights", flush=True)
    optimiser = torch.optim.AdamW(net.parameters(), 4e-3, weight_decay=1e-4)
    began, step, mean = time.time(), 0, 0.0
    while (done := (time.time() - began) / (60 * minutes)) < 1:
        rate = 4e-3 * min(1, step / 100) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-5
        for group in optimiser.param_groups:
            group["lr"] = rate
        pairs = [sample(*library.items[int(rng.integers(len(library.items)))], rng) for _ in range(batch)]
        x = torch.from_numpy(np.stack([p for p, _ in pairs])).permute(0, 3, 1, 2).float() / 255
        maps = torch.from_numpy(np.stack([m for _, m in pairs])).float() / 255
        loss = loss_of(net(normalised(x).contiguous(memory_format=torch.channels_last)), maps)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        step += 1
        mean = mean * 0.98 + loss.item() * 0.02 if step > 1 else loss.item()
        if step % 20 == 0:
            library.take_in(100)
        if step % 100 == 0:
            print(f"step {step} {time.time() - began:.0f} s {len(library.items)} pictures loss {mean:.4f}", flush=True)
        if step % 600 == 0:
            torch.save(net.state_dict(), keep)
    torch.save(net.state_dict(), keep)
    return net.eval()


def normalised(x: Tensor) -> Tensor:
    """Mean brightness brought to 0.42 by a gain within limits, as `canopy.tray.sight` does."""
    return (x * (0.42 / x.mean((1, 2, 3), keepdim=True).clamp(min=0.02)).clamp(0.6, 4)).clamp(0, 1)


def export(net: SightNet, path: Path) -> None:
    """Write ONNX, opset 17, any size of multiples of 16."""
    axes = {0: "batch", 2: "height", 3: "width"}
    torch.onnx.export(
        net.eval().to(memory_format=torch.contiguous_format), torch.zeros(1, 3, HEIGHT, WIDTH), str(path),
        opset_version=17, input_names=["rgb"], output_names=["logits"],
        dynamic_axes={"rgb": axes, "logits": axes}, dynamo=False,
    )  # fmt: skip


def main() -> None:
    """Command line of the fit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pictures", type=Path)
    parser.add_argument("--out", type=Path, required=True, help="the .onnx file; weights go beside it as .pt")
    parser.add_argument("--minutes", type=float, default=15)
    parser.add_argument("--batch", type=int, default=24)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--start", type=Path, help="weights (.pt) to go on from")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    net = fit(
        given.pictures, minutes=given.minutes, batch=given.batch, seed=given.seed, keep=given.out.with_suffix(".pt"),
        start=given.start,
    )  # fmt: skip
    export(net, given.out)


if __name__ == "__main__":
    main()
