"""Fit the network on drawn pictures and export it; needs torch, onnx, numpy and Pillow only."""

from __future__ import annotations

import argparse
import copy
import math
import threading
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812
from PIL import Image
from torch import Tensor

from benchmarks.train_canopy.change import Dice, change
from benchmarks.train_canopy.fold import fold
from benchmarks.train_canopy.network import CanopyNet

SIDE = 256
LEVELS = 3
ZOOM = (0.22, 2.6)
"""Source pixels per network pixel of a crop: from close-ups to whole trays."""


class Library:
    """Pictures on the device as stacks of equal size, each with half and quarter size copies for shrinking crops.

    The folder may still be filling: a thread takes in new pictures while the fit goes on, up to `capacity`.
    """

    def __init__(self, folder: Path, device: torch.device, *, capacity: int, first: int) -> None:
        self.folder, self.count = folder, 0
        self.seen: set[str] = set()
        while len(waiting := self._waiting()) < first:
            time.sleep(1)
        width, height = Image.open(waiting[0]).size
        self.levels = [
            torch.empty(capacity, 4, height >> n, width >> n, dtype=torch.uint8, device=device) for n in range(LEVELS)
        ]
        self._take_in()
        threading.Thread(target=self._keep_taking_in, daemon=True).start()

    def __len__(self) -> int:
        return self.count

    def _waiting(self) -> list[Path]:
        """Pictures that are whole (the marker file is written last) and not yet taken in."""
        return [p.with_suffix(".jpg") for p in sorted(self.folder.glob("*.done")) if p.stem not in self.seen]

    def _keep_taking_in(self) -> None:
        while self.count < len(self.levels[0]):
            time.sleep(5)
            self._take_in()

    def _take_in(self) -> None:
        for path in self._waiting():
            if self.count >= len(self.levels[0]):
                return
            rgb = np.asarray(Image.open(path).convert("RGB"))
            canopy = np.asarray(Image.open(path.with_suffix(".png")))
            picture = torch.from_numpy(np.dstack([rgb, canopy])).permute(2, 0, 1)[None].to(self.levels[0].device)
            for level in self.levels:
                level[self.count] = picture[0]
                picture = _halved(picture)
            self.seen.add(path.stem)
            self.count += 1

    def crops(self, dice: Dice) -> tuple[Tensor, Tensor]:
        """A batch of turned, mirrored, zoomed, sheared crops: code values (B, 3, S, S) and canopy (B, 1, S, S)."""
        b, device = dice.batch, dice.device
        which = (dice.uniform(b) * len(self)).long()
        zoom = torch.exp(math.log(ZOOM[0]) + dice.uniform(b) * math.log(ZOOM[1] / ZOOM[0]))
        height, width = self.levels[0].shape[2:]
        zoom = torch.minimum(zoom, torch.tensor(min(height, width) / (SIDE * 1.1), device=device))
        angle, flip = 2 * math.pi * dice.uniform(b), torch.where(dice.uniform(b) < 0.5, -1.0, 1.0)
        angle = torch.where(dice.uniform(b) < 0.5, (angle / (math.pi / 2)).round() * (math.pi / 2), angle)
        reach = zoom * SIDE
        room_x, room_y = (torch.clamp(1 - reach / n, min=0) for n in (width, height))
        cx, cy = ((2 * dice.uniform(b) - 1) * room for room in (room_x, room_y))
        shear = 0.12 * dice.normal(b)
        cos, sin = torch.cos(angle), torch.sin(angle)
        kx, ky = reach / width, reach / height
        rows = [
            torch.stack([kx * cos * flip, kx * (shear - sin), cx], 1),
            torch.stack([ky * sin * flip, ky * cos, cy], 1),
        ]
        theta = torch.stack(rows, 1)
        grid = F.affine_grid(theta, [b, 1, SIDE, SIDE], align_corners=False)
        out = torch.empty(b, 4, SIDE, SIDE, device=device)
        level = torch.clamp(torch.floor(torch.log2(zoom * 1.3)), 0, LEVELS - 1).long()
        for n in range(LEVELS):
            here = (level == n).nonzero().squeeze(1)
            if len(here):
                source = self.levels[n][which[here]].float() / 255
                out[here] = F.grid_sample(
                    source, grid[here], mode="bilinear", padding_mode="reflection", align_corners=False
                )
        return out[:, :3], out[:, 3:]


def _halved(stack: Tensor) -> Tensor:
    return F.avg_pool2d(stack.float(), 2).round().to(torch.uint8)


def loss_of(logits: Tensor, canopy: Tensor) -> Tensor:
    """Cross-entropy, edges and narrow gaps counted up to fourfold, plus one minus the soft Dice of each crop."""
    full = F.pixel_shuffle(logits.float(), 2)
    narrow = 1 + 3 * 2 * (F.avg_pool2d(canopy, 5, 1, 2, count_include_pad=False) - canopy).abs().clamp(max=0.5)
    p = torch.sigmoid(full)
    overlap = (2 * (p * canopy).sum((1, 2, 3)) + 4) / ((p + canopy).sum((1, 2, 3)) + 4)
    return F.binary_cross_entropy_with_logits(full, canopy, narrow) + (1 - overlap).mean()


def fit(
    folder: Path, *, seconds: float, batch: int, seed: int, start: Path | None, capacity: int, first: int
) -> CanopyNet:
    """Train for a given time with a cosine schedule; returns the running average of the weights."""
    torch.manual_seed(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    library = Library(folder, device, capacity=capacity, first=first)
    dice, wide = Dice(batch, SIDE, device, seed), Dice(batch * 4 // 3, SIDE, device, seed + 1)
    net = CanopyNet().to(device).to(memory_format=torch.channels_last)
    if start is not None:
        net.load_state_dict(torch.load(start, map_location=device))
    average = copy.deepcopy(net)
    print(
        f"{len(library)} pictures {tuple(library.levels[0].shape)}, {sum(p.numel() for p in net.parameters())} weights",
        flush=True,
    )
    top_rate = 3e-3 if start is None else 2e-3
    optimiser = torch.optim.AdamW(net.parameters(), top_rate, weight_decay=1e-4)
    began, step = time.time(), 0
    while (done := (time.time() - began) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = top_rate * min(1, step / 200) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        crops, canopy = _fuller(*library.crops(wide), batch)
        changed = change(crops, canopy, dice).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16):
            logits = net(changed)
        loss = loss_of(logits, canopy)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        step += 1
        _follow(average, net, min(0.999, step / (step + 20)))
        if step % 500 == 0:
            print(
                f"step {step}  {time.time() - began:.0f} s  {len(library)} pictures  loss {loss.item():.4f}", flush=True
            )
    print(f"done after {step} steps", flush=True)
    return average.eval()


def _fuller(crops: Tensor, canopy: Tensor, keep: int) -> tuple[Tensor, Tensor]:
    """Leave out a quarter of the crops, rather the empty ones: most of a tray picture is not plant."""
    rank = (canopy.mean((1, 2, 3)) > 0.004).float() * 0.5 + torch.rand(len(crops), device=crops.device)
    chosen = rank.topk(keep).indices
    return crops[chosen], canopy[chosen]


@torch.no_grad()
def _follow(average: CanopyNet, net: CanopyNet, keep: float) -> None:
    """Exponential running average of weights; batch statistics are averaged alike."""
    for ours, theirs in zip(average.state_dict().values(), net.state_dict().values(), strict=True):
        if ours.dtype.is_floating_point:
            ours.lerp_(theirs, 1 - keep)
        else:
            ours.copy_(theirs)


def export(net: CanopyNet, path: Path) -> None:
    """Write ONNX (opset 17, any multiple-of-32 size), its first convolution folded (see `fold`)."""
    axes = {0: "batch", 2: "height", 3: "width"}
    torch.onnx.export(
        net.cpu().float().to(memory_format=torch.contiguous_format),
        torch.zeros(1, 3, 256, 256),
        str(path),
        opset_version=17,
        input_names=["rgb"],
        output_names=["logits"],
        dynamic_axes={"rgb": axes, "logits": axes},
        dynamo=False,
    )
    fold(path)


@torch.no_grad()
def report(net: CanopyNet, folder: Path, *, scales: tuple[float, ...] = (1.0, 0.7, 0.5, 0.35)) -> None:
    """Print the Dice coefficient of each picture of a folder with masks, fed at several scales."""
    device = next(net.parameters()).device
    found: list[list[float]] = []
    for path in sorted(folder.glob("*.jpg")):
        mask_path = path.with_suffix(".png")
        if not mask_path.exists():
            continue
        rgb = (
            torch.from_numpy(np.asarray(Image.open(path).convert("RGB")).copy())
            .to(device)
            .permute(2, 0, 1)[None]
            .float()
            / 255
        )
        truth = torch.from_numpy(np.asarray(Image.open(mask_path)).astype(np.float32)).to(device) > 127
        found.append([_dice(_probability(net, rgb, s) > 0.5, truth) for s in scales])
        print(path.stem, " ".join(f"{value:.3f}" for value in found[-1]), flush=True)
    if found:
        for name, share in (("median", 0.5), ("10th percentile", 0.1)):
            print(
                folder.name, name, " ".join(f"{value:.3f}" for value in np.quantile(found, share, axis=0)), flush=True
            )


def _probability(net: CanopyNet, rgb: Tensor, scale: float) -> Tensor:
    height, width = rgb.shape[2:]
    size = [max(32, round(n * scale / 32) * 32) for n in (height, width)]
    x = F.interpolate(rgb, size, mode="bilinear", antialias=True, align_corners=False)
    x = (x * (0.42 / x.mean().clamp(min=0.02)).clamp(0.6, 4)).clamp(0, 1)
    p = torch.sigmoid(F.pixel_shuffle(net(x).float(), 2))
    return F.interpolate(p, (height, width), mode="bilinear", align_corners=False)[0, 0]


def _dice(a: Tensor, b: Tensor) -> float:
    total = a.sum() + b.sum()
    return float(2 * (a & b).sum() / total) if total else 1.0


def main() -> None:
    """Command line of the fit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pictures", type=Path, help="folder of NAME.jpg with NAME.png (canopy share 0..255)")
    parser.add_argument("--out", type=Path, required=True, help="where canopy_net.onnx and canopy_net.pt go")
    parser.add_argument("--seconds", type=float, default=480)
    parser.add_argument("--batch", type=int, default=96)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--capacity", type=int, default=6000, help="most pictures held")
    parser.add_argument("--first", type=int, default=100, help="pictures to wait for before starting")
    parser.add_argument("--start", type=Path, help="weights (.pt) to go on from")
    parser.add_argument(
        "--check", type=Path, nargs="*", default=[], help="folders of NAME.jpg + NAME.png never fitted on"
    )
    given = parser.parse_args()
    net = fit(
        given.pictures, seconds=given.seconds, batch=given.batch, seed=given.seed, start=given.start,
        capacity=given.capacity, first=given.first,
    )  # fmt: skip
    given.out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), given.out / "canopy_net.pt")
    for folder in given.check:
        report(net, folder)
    export(net, given.out / "canopy_net.onnx")


if __name__ == "__main__":
    main()
