"""The network: a depthwise-separable encoder–decoder with a half-resolution head.

It gives four logits of canopy for the 2 × 2 pixels of the full-resolution mask (channel 2·dy + dx, as in a pixel
shuffle). The shuffle itself is left out of the exported file, because OpenCV 4.10 cannot load it at varying sizes;
whoever runs it shuffles. Two more outputs say, where there is canopy, in which cell its plant is rooted: the way right
and down to the middle of that cell, in `VOTE_PX` pixels (voting for centres as in Kendall, Gal & Cipolla 2018 and
Cheng et al. 2020, "Panoptic-DeepLab"; from memory). A fourth input beside red, green and blue marks the middles of the
tray's cells.
"""

from __future__ import annotations

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor, nn

INPUTS = 4
WIDTHS = (16, 40, 96, 160, 224)
LOGITS, VOTES = 4, 2
VOTE_PX = 16.0
"""Pixels of the picture to one unit of a vote."""
CELL_MARK_PX, CELL_MARK_REACH = 3.0, 9
"""Spread of the bell that marks the middle of a cell, and where it is cut off; pixels."""


def dense(channels_in: int, channels_out: int, stride: int = 1, groups: int = 1) -> nn.Sequential:
    """3 × 3 convolution, batch norm, ReLU."""
    conv = nn.Conv2d(channels_in, channels_out, 3, stride, 1, groups=groups, bias=False)
    return nn.Sequential(conv, nn.BatchNorm2d(channels_out), nn.ReLU(inplace=True))


def separable(channels_in: int, channels_out: int, stride: int = 1) -> nn.Sequential:
    """3 × 3 per channel, then 1 × 1 across channels: a ninth of the cost of a dense one."""
    across = nn.Conv2d(channels_in, channels_out, 1, bias=False)
    depthwise = dense(channels_in, channels_in, stride, channels_in)
    return nn.Sequential(depthwise, across, nn.BatchNorm2d(channels_out), nn.ReLU(inplace=True))


class Refined(nn.Module):
    """Adds a separable change to what it gets; none at first, so that it may be put into a fitted network."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        across = nn.Conv2d(channels, channels, 1, bias=False)
        self.change = nn.Sequential(dense(channels, channels, 1, channels), across, nn.BatchNorm2d(channels))
        nn.init.zeros_(self.change[-1].weight)

    def forward(self, x: Tensor) -> Tensor:
        """The same size."""
        return x + self.change(x)


class CanopyNet(nn.Module):
    """(B, 4, H, W) in 0..1, H and W multiples of 32 → (B, 6, H/2, W/2): four logits, the way right, the way down."""

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d, e = WIDTHS
        self.down = nn.ModuleList(
            [
                nn.Sequential(dense(INPUTS, a, 2), separable(a, a)),
                nn.Sequential(separable(a, b, 2), separable(b, b)),
                nn.Sequential(separable(b, c, 2), separable(c, c)),
                nn.Sequential(separable(c, d, 2), separable(d, d)),
            ]
        )
        self.bottom = nn.Sequential(
            separable(d, e, 2), separable(e, e), separable(e, e), Refined(e), Refined(e), separable(e, d)
        )
        self.up = nn.ModuleList(
            [
                nn.Sequential(separable(2 * d, d), separable(d, c)),
                nn.Sequential(separable(2 * c, c), separable(c, b)),
                nn.Sequential(separable(2 * b, b), separable(b, a)),
                nn.Sequential(separable(2 * a, a)),
            ]
        )
        self.head = nn.Conv2d(a, LOGITS + VOTES, 1)

    def forward(self, x: Tensor) -> Tensor:
        """What the head says, per position at half the resolution."""
        skips = []
        for block in self.down:
            x = block(x)
            skips.append(x)
        x = self.bottom(x)
        for block, skip in zip(self.up, reversed(skips), strict=True):
            x = block(torch.cat([F.interpolate(x, scale_factor=2.0, mode="nearest"), skip], 1))
        return self.head(x)
