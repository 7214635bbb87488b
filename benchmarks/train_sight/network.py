"""The network: a small encoder–decoder that answers at a quarter of its input's size, 4 × 4 pixels per position."""

from __future__ import annotations

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor, nn

MAPS = 3
"""Any tray, this tray (the one nearest the picture's centre), and the lines along outlines."""
BLOCK = 4
WIDTHS = (12, 32, 48, 64)


def dense(channels_in: int, channels_out: int, stride: int = 1, spread: int = 1) -> nn.Sequential:
    """3 × 3 convolution, batch norm, ReLU."""
    conv = nn.Conv2d(channels_in, channels_out, 3, stride, spread, dilation=spread, bias=False)
    return nn.Sequential(conv, nn.BatchNorm2d(channels_out), nn.ReLU(inplace=True))


class SightNet(nn.Module):
    """(B, 3, H, W) in 0..1, H and W multiples of 16 → logits (B, 48, H/4, W/4); channel = map·16 + 4·dy + dx."""

    def __init__(self, widths: tuple[int, int, int, int] = WIDTHS) -> None:
        super().__init__()
        a, b, c, d = widths
        self.near = nn.Sequential(dense(3, a, 2), dense(a, b, 2), dense(b, b))
        self.middle = nn.Sequential(dense(b, c, 2), dense(c, c), dense(c, c))
        self.far = nn.Sequential(dense(c, d, 2), dense(d, d, spread=2), dense(d, d, spread=3), dense(d, d))
        self.back = dense(c + d, c)
        across = nn.Conv2d(b + c, b, 1, bias=False)
        self.join = nn.Sequential(across, nn.BatchNorm2d(b), nn.ReLU(inplace=True), dense(b, b))
        self.head = nn.Conv2d(b, MAPS * BLOCK * BLOCK, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Quarter-resolution logits."""
        near = self.near(x)
        middle = self.middle(near)
        far = F.interpolate(self.far(middle), scale_factor=2.0, mode="nearest")
        middle = self.back(torch.cat([far, middle], 1))
        middle = F.interpolate(middle, scale_factor=2.0, mode="nearest")
        return self.head(self.join(torch.cat([middle, near], 1)))
