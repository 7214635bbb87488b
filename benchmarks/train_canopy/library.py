"""Training pictures on the device, and random crops of them: what is canopy, whose it is and where the cells are."""

from __future__ import annotations

import math
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812
from numpy.typing import NDArray
from PIL import Image
from torch import Tensor

from benchmarks.train_canopy.change import Dice
from benchmarks.train_canopy.network import CELL_MARK_PX, CELL_MARK_REACH

SIDE = 320
"""Pixels of a crop: 16 cm at the network's scale."""
LEVELS = 3
ZOOM = (0.22, 2.6)
"""Source pixels per network pixel of a crop at any scale: from close-ups to whole trays."""
SHARPEST_ZOOM = 0.85
MOST_CELLS = 320
READERS = 6
_UNMARKED = 0.05  # share of crops without marks, so that canopy is not looked for around marks alone


@dataclass(frozen=True)
class Crops:
    """A batch of crops.

    Attributes
    ----------
    rgb : (B, 3, S, S) tensor
        Code values 0..1.
    canopy : (B, 1, S, S) tensor
        Share of canopy 0..1.
    plant : (B, S, S) long tensor
        Cell of the plant seen there, from 1; 0: none, or one of another tray.
    centres : (B, MOST_CELLS + 1, 2) tensor
        Middle of each cell, crop pixels (x, y), from 1; infinite where there is no such cell.
    spacing : (B,) tensor
        From a cell to the next, crop pixels; 0 where plants cannot be told apart (mats).
    """

    rgb: Tensor
    canopy: Tensor
    plant: Tensor
    centres: Tensor
    spacing: Tensor

    def among(self, chosen: Tensor) -> Crops:
        """Only the chosen ones."""
        return Crops(*(part[chosen] for part in (self.rgb, self.canopy, self.plant, self.centres, self.spacing)))


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
            torch.empty(capacity, height >> n, width >> n, 4, dtype=torch.uint8, device=device) for n in range(LEVELS)
        ]
        self.plant = torch.empty(capacity, height, width, dtype=torch.int16, device=device)
        self.centres = torch.full((capacity, MOST_CELLS + 1, 2), math.inf, device=device)
        self.spacing = torch.zeros(capacity, device=device)
        self.mm_per_px = torch.ones(capacity, device=device)
        self.readers = ThreadPoolExecutor(READERS)
        self._take_in(waiting[:first])
        threading.Thread(target=self._keep_taking_in, daemon=True).start()

    def __len__(self) -> int:
        return self.count

    def _waiting(self) -> list[Path]:
        """Pictures that are whole (the marker file is written last) and not yet taken in."""
        return [p.with_suffix(".jpg") for p in sorted(self.folder.glob("*.done")) if p.stem not in self.seen]

    def _keep_taking_in(self) -> None:
        while self.count < len(self.plant):
            self._take_in(self._waiting())
            time.sleep(5)

    def _take_in(self, paths: list[Path]) -> None:
        """Read files side by side, a few ahead of what is stored."""
        paths = paths[: len(self.plant) - self.count]
        for start in range(0, len(paths), 4 * READERS):
            few = paths[start : start + 4 * READERS]
            for path, (shown, owners) in zip(few, self.readers.map(_read, few), strict=True):
                picture = torch.from_numpy(shown).to(self.plant.device).permute(2, 0, 1)[None]
                for level in self.levels:
                    level[self.count] = picture[0].permute(1, 2, 0)
                    picture = _halved(picture)
                self._take_in_owners(owners)
                self.seen.add(path.stem)
                self.count += 1

    def _take_in_owners(self, owners: dict[str, NDArray[Any]]) -> None:
        device = self.plant.device
        self.plant[self.count] = torch.from_numpy(owners["plant"].astype(np.int16)).to(device)
        centres: NDArray[np.float32] = owners["centres_px"]
        self.centres[self.count, 1 : len(centres) + 1] = torch.from_numpy(centres).to(device)
        self.spacing[self.count] = float(owners["spacing_px"])
        self.mm_per_px[self.count] = float(owners["mm_per_px"])

    def crops(self, dice: Dice, *, scale_mm: tuple[float, float], any_scale: float) -> Crops:
        """A batch of turned, mirrored, zoomed, sheared crops.

        Scales are between the two of `scale_mm` (millimetres per network pixel), where the picture is not coarser: an
        enlarged one is softer than any photo that the network will see. The share `any_scale` of them is zoomed by
        anything in `ZOOM`.
        """
        b, device = dice.batch, dice.device
        which = (dice.uniform(b) * len(self)).long()
        zoom = torch.exp(math.log(ZOOM[0]) + dice.uniform(b).float() * math.log(ZOOM[1] / ZOOM[0]))
        wanted = torch.exp(
            math.log(scale_mm[0]) + dice.uniform(b).float() * math.log(scale_mm[1] / scale_mm[0])
        ) / self.mm_per_px[which].clamp(min=0.01)
        zoom = torch.where(dice.uniform(b) < any_scale, zoom, wanted.clamp(SHARPEST_ZOOM, 3.0))
        height, width = self.levels[0].shape[1:3]
        zoom = zoom.clamp(max=min(height, width) / (SIDE * 1.02))
        theta = self._placement(zoom, dice)
        grid = F.affine_grid(theta, [b, 1, SIDE, SIDE], align_corners=False)
        out = torch.empty(b, SIDE, SIDE, 4, device=device)
        level = torch.clamp(torch.floor(torch.log2(zoom * 1.3)), 0, LEVELS - 1).long()
        for n in range(LEVELS):
            here = (level == n).nonzero().squeeze(1)
            if len(here):
                out[here] = _sampled(self.levels[n], which[here], grid[here])
        out = out.permute(0, 3, 1, 2) / 255
        plant, centres = self._owners(which, grid, theta)
        return Crops(out[:, :3], out[:, 3:], plant, centres, self.spacing[which] / zoom)

    def _placement(self, zoom: Tensor, dice: Dice) -> Tensor:
        """(B, 2, 3) from crop to picture, both in −1..1."""
        b, device = dice.batch, dice.device
        height, width = self.levels[0].shape[1:3]
        angle, flip = 2 * math.pi * dice.uniform(b).float(), torch.where(dice.uniform(b) < 0.5, -1.0, 1.0).to(device)
        angle = torch.where(dice.uniform(b) < 0.5, (angle / (math.pi / 2)).round() * (math.pi / 2), angle)
        reach = zoom * SIDE
        room_x, room_y = (torch.clamp(1 - reach / n, min=0) for n in (width, height))
        cx, cy = ((2 * dice.uniform(b).float() - 1) * room for room in (room_x, room_y))
        shear = 0.12 * dice.normal(b).float()
        cos, sin = torch.cos(angle), torch.sin(angle)
        kx, ky = reach / width, reach / height
        rows = [
            torch.stack([kx * cos * flip, kx * (shear - sin), cx], 1),
            torch.stack([ky * sin * flip, ky * cos, cy], 1),
        ]
        return torch.stack(rows, 1)

    def _owners(self, which: Tensor, grid: Tensor, theta: Tensor) -> tuple[Tensor, Tensor]:
        """Plants of the crops' pixels, none beyond the picture, and centres of cells in crop pixels."""
        height, width = self.plant.shape[1:]
        x = ((grid[..., 0] + 1) * width / 2 - 0.5).round().long()
        y = ((grid[..., 1] + 1) * height / 2 - 0.5).round().long()
        inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        plant = self.plant[which[:, None, None], y.clamp(0, height - 1), x.clamp(0, width - 1)].long() * inside
        size = torch.tensor([width, height], device=theta.device, dtype=torch.float32)
        ends = (self.centres[which] + 0.5) / size * 2 - 1 - theta[:, None, :, 2]
        back = torch.linalg.inv_ex(theta[:, :, :2]).inverse  # `inv` would wait for the device
        known = torch.isfinite(ends).all(-1, keepdim=True)
        centres = torch.where(known, ends, torch.zeros_like(ends)) @ back.transpose(1, 2)
        return plant, torch.where(known, (centres + 1) * SIDE / 2 - 0.5, math.inf)


def _sampled(pictures: Tensor, which: Tensor, grid: Tensor) -> Tensor:
    """(B, S, S, 4) of the pictures named, between four pixels each, mirrored beyond the border.

    What `grid_sample` does, without a copy of every whole picture in floating point.
    """
    _, height, width, _ = pictures.shape
    x, y = ((part + 1) * n / 2 - 0.5 for part, n in zip(grid.unbind(-1), (width, height), strict=True))
    left, top = x.floor(), y.floor()
    right_share, down_share = (x - left)[..., None], (y - top)[..., None]
    picture = which[:, None, None]
    columns = [_mirrored(left.long() + k, width) for k in (0, 1)]
    rows = [_mirrored(top.long() + k, height) for k in (0, 1)]
    upper, lower = (
        torch.lerp(pictures[picture, row, columns[0]].float(), pictures[picture, row, columns[1]].float(), right_share)
        for row in rows
    )
    return torch.lerp(upper, lower, down_share)


def _mirrored(at: Tensor, size: int) -> Tensor:
    """Pixel numbers, those beyond the border mirrored at it."""
    at = at % (2 * size)
    return torch.where(at < size, at, 2 * size - 1 - at)


def _read(path: Path) -> tuple[NDArray[np.uint8], dict[str, NDArray[Any]]]:
    """Red, green, blue and canopy share of a picture, and whose leaf it shows where."""
    rgb = np.asarray(Image.open(path).convert("RGB"))
    canopy = np.asarray(Image.open(path.with_suffix(".png")))
    return np.dstack([rgb, canopy]), dict(np.load(path.with_suffix(".npz")))


def cell_map(crops: Crops, dice: Dice, *, jitter_px: float = 1.0) -> Tensor:
    """(B, 1, S, S) bell of `CELL_MARK_PX` around the middle of each cell, 1 at its top, each a little out of place."""
    b = len(crops.centres)
    noise = torch.randn(crops.centres.shape, device=crops.centres.device, generator=dice.generator)
    x, y = (torch.nan_to_num(crops.centres, posinf=-1e4) + jitter_px * noise).round().long().unbind(-1)
    inside = (x >= 0) & (x < SIDE) & (y >= 0) & (y < SIDE)
    marks = torch.zeros(b, SIDE * SIDE, device=x.device)
    marks.scatter_reduce_(1, (y.clamp(0, SIDE - 1) * SIDE + x.clamp(0, SIDE - 1)), inside.float(), "amax")
    reach = torch.arange(-CELL_MARK_REACH, CELL_MARK_REACH + 1, device=x.device, dtype=torch.float32)
    bell = torch.exp(-0.5 * (reach / CELL_MARK_PX) ** 2)
    marks = marks.view(b, 1, SIDE, SIDE) * (
        torch.rand(b, 1, 1, 1, device=x.device, generator=dice.generator) > _UNMARKED
    )
    marks = F.conv2d(marks, bell.view(1, 1, 1, -1), padding=(0, CELL_MARK_REACH))
    return F.conv2d(marks, bell.view(1, 1, -1, 1), padding=(CELL_MARK_REACH, 0)).clamp(max=1)


def _halved(stack: Tensor) -> Tensor:
    return F.avg_pool2d(stack.float(), 2).round().to(torch.uint8)
