"""Fit a network on drawn pictures and export it; needs torch, onnx, numpy and Pillow only.

python -m benchmarks.train_canopy.fit pictures --out fit1
python -m benchmarks.train_canopy.fit pictures --out fit2 --start fit1/canopy_net.pt --areas   # the last round
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812
from PIL import Image
from torch import Tensor

from benchmarks.train_canopy.change import Dice, change
from benchmarks.train_canopy.fold import fold
from benchmarks.train_canopy.library import SIDE, Crops, Library, cell_map
from benchmarks.train_canopy.network import INPUTS, LOGITS, VOTE_PX, CanopyNet

SCALE_MM = (0.35, 0.95)
"""Millimetres per pixel at which the network is used, widely; so are most crops."""
ANY_SCALE = 0.25
SAVE_EVERY_S = 120
WEIGHTS, NETWORK = "canopy_net.pt", "canopy_net.onnx"
_VOTERS = 768  # pixels of a crop whose votes are counted
_SPREAD = 0.18  # standard deviation of votes around a middle, in spacings, when they are read as probabilities


def loss_of(logits: Tensor, canopy: Tensor) -> Tensor:
    """Cross-entropy, edges and narrow gaps counted up to fourfold, plus one minus the soft Dice of each crop."""
    full = F.pixel_shuffle(logits.float(), 2)
    narrow = 1 + 3 * 2 * (F.avg_pool2d(canopy, 5, 1, 2, count_include_pad=False) - canopy).abs().clamp(max=0.5)
    p = torch.sigmoid(full)
    overlap = (2 * (p * canopy).sum((1, 2, 3)) + 4) / ((p + canopy).sum((1, 2, 3)) + 4)
    return F.binary_cross_entropy_with_logits(full, canopy, narrow) + (1 - overlap).mean()


def share_loss(logits: Tensor, canopy: Tensor) -> Tensor:
    """Plain cross-entropy with the share of canopy: least where the probability is the expected share.

    A proper score: sums of such probabilities are unbiased areas, which those fitted by `loss_of` are not; its weights
    and its Dice term find thin and small leaves, and make them too wide.
    """
    return 6 * F.binary_cross_entropy_with_logits(F.pixel_shuffle(logits.float(), 2), canopy)


def vote_loss(votes: Tensor, crops: Crops) -> Tensor:
    """How far votes miss the middle of their plant's cell, and how unsure they leave whose leaf it is.

    The first is a Huber loss of the way there. The second the cross-entropy of the true cell among all cells of the
    crop, empty ones too, were votes spread around middles by a normal distribution: it counts where plants touch.
    """
    b, side = len(votes), SIDE // 2
    ways = votes.float().flatten(2) * VOTE_PX
    # The plant at one of the four pixels of each position; its middle is half a pixel away.
    seen = crops.plant[:, ::2, ::2].flatten(1)
    told = (seen > 0) & (crops.spacing > 0)[:, None]
    rank = told.float() + torch.rand(b, side * side, device=votes.device) * 0.9
    value, at = rank.topk(_VOTERS, dim=1)
    counts = (value >= 1).float()
    plant = seen.gather(1, at)
    here = 2 * torch.stack([at % side, at // side], -1).float() + 0.5
    goal = ways.gather(2, at[:, None].expand(-1, 2, -1)).transpose(1, 2) + here
    middle = crops.centres.gather(1, plant[..., None].expand(-1, -1, 2))
    middle = torch.where(counts[..., None] > 0, middle, goal.detach())
    spacing = crops.spacing.clamp(min=4)[:, None]
    miss = F.huber_loss(goal / spacing[..., None], middle / spacing[..., None], reduction="none", delta=0.2).sum(-1)
    apart = torch.cdist(goal, torch.nan_to_num(crops.centres, posinf=1e5)) / spacing[..., None]
    doubt = F.cross_entropy((-0.5 * (apart / _SPREAD) ** 2).clamp(min=-200).transpose(1, 2), plant, reduction="none")
    total = counts.sum().clamp(min=1)
    return ((4 * miss + 0.25 * doubt.clamp(max=20)) * counts).sum() / total


def fit(
    folder: Path,
    *,
    out: Path,
    seconds: float,
    batch: int,
    top_rate: float,
    seed: int,
    start: Path | None,
    capacity: int,
    first: int,
    areas: bool = False,
) -> CanopyNet:
    """Train for a given time, taking in pictures included, with a cosine schedule; returns the running average.

    The weights are saved in `out` every two minutes: a machine may be taken away.
    """
    began = saved = time.time()
    torch.manual_seed(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    library = Library(folder, device, capacity=capacity, first=first)
    dice, wide = Dice(batch, SIDE, device, seed), Dice(batch * 4 // 3, SIDE, device, seed + 1)
    net = CanopyNet().to(device).to(memory_format=torch.channels_last)
    if start is not None:
        net.load_state_dict(torch.load(start, map_location=device))
    average = copy.deepcopy(net)
    print(f"{len(library)} pictures, {sum(p.numel() for p in net.parameters())} weights", flush=True)
    optimiser = torch.optim.AdamW(net.parameters(), top_rate, weight_decay=1e-4)
    step = 0
    while (done := (time.time() - began) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = top_rate * min(1, step / 200) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        crops = _fuller(library.crops(wide, scale_mm=SCALE_MM, any_scale=ANY_SCALE), batch)
        changed = change(crops.rgb, crops.canopy, dice).contiguous(memory_format=torch.channels_last)
        changed = torch.cat([changed, cell_map(crops, dice).to(changed.dtype)], 1)
        with torch.autocast(device.type, torch.bfloat16):
            said = net(changed)
        loss = (share_loss if areas else loss_of)(said[:, :LOGITS], crops.canopy)
        whose = vote_loss(said[:, LOGITS:], crops)
        optimiser.zero_grad(set_to_none=True)
        (loss + whose).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        step += 1
        _follow(average, net, min(0.999, step / (step + 20)))
        if time.time() - saved > SAVE_EVERY_S:
            saved = time.time()
            torch.save(average.state_dict(), out / WEIGHTS)
        if step % 100 == 0:
            print(
                f"step {step}  {time.time() - began:.0f} s  {len(library)} pictures  "
                f"loss {loss.item():.4f}  votes {whose.item():.4f}",
                flush=True,
            )
    print(f"done after {step} steps", flush=True)
    return average.eval()


def _fuller(crops: Crops, keep: int) -> Crops:
    """Leave out a quarter of the crops, rather the empty ones: most of a tray picture is not plant."""
    filled = (crops.canopy.mean((1, 2, 3)) > 0.004).float()
    return crops.among((filled * 0.5 + torch.rand(len(filled), device=filled.device)).topk(keep).indices)


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
        torch.zeros(1, INPUTS, SIDE, SIDE),
        str(path),
        opset_version=17,
        input_names=["picture"],
        output_names=["out"],
        dynamic_axes={"picture": axes, "out": axes},
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
    x = F.pad(x, (0, 0, 0, 0, 0, INPUTS - 3))  # no cells are marked
    p = torch.sigmoid(F.pixel_shuffle(net(x)[:, :LOGITS].float(), 2))
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
    parser.add_argument("--batch", type=int, default=80)
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning; less when going on")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--capacity", type=int, default=6000, help="most pictures held")
    parser.add_argument("--first", type=int, default=100, help="pictures to wait for before starting")
    parser.add_argument("--start", type=Path, help="weights (.pt) to go on from")
    parser.add_argument(
        "--check", type=Path, nargs="*", default=[], help="folders of NAME.jpg + NAME.png never fitted on"
    )
    parser.add_argument("--areas", action="store_true", help="fit on plain cross-entropy: the last round, for areas")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    net = fit(
        given.pictures, out=given.out, seconds=given.seconds, batch=given.batch, top_rate=given.rate, seed=given.seed,
        start=given.start, capacity=given.capacity, first=given.first, areas=given.areas,
    )  # fmt: skip
    torch.save(net.state_dict(), given.out / WEIGHTS)
    for folder in given.check:
        report(net, folder)
    export(net, given.out / NETWORK)


if __name__ == "__main__":
    main()
