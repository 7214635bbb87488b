"""Average the weights of several fits of one lineage, all of one network, and export it.

    python -m benchmarks.train_canopy.blend fit1/canopy_net.pt:1 fit2/canopy_net.pt:1 fit3/canopy_net.pt:2 --out blend

Fits that go on from one another lie in one valley, and the middle of the valley was steadier on pictures unlike the
training's than any of its ends (Wortsman et al. 2022, Model soups, ICML; from memory).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from torch import Tensor

from benchmarks.train_canopy.fit import NETWORK, WEIGHTS, export
from benchmarks.train_canopy.network import CanopyNet


def blended(fits: list[tuple[dict[str, Tensor], float]]) -> dict[str, Tensor]:
    """Weighted mean of state dictionaries; whole numbers (counters) are those of the last."""
    total = sum(share for _, share in fits)
    last = fits[-1][0]
    return {
        name: sum(share / total * weights[name] for weights, share in fits) if value.dtype.is_floating_point else value
        for name, value in last.items()
    }


def main() -> None:
    """Command line of the blend."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fits", nargs="+", metavar="WEIGHTS.pt:SHARE")
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    parts = [text.rpartition(":") for text in given.fits]
    fits = [(torch.load(path, map_location="cpu"), float(share)) for path, _, share in parts]
    weights = blended(fits)
    net = CanopyNet()
    net.load_state_dict(weights)
    given.out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), given.out / WEIGHTS)
    export(net.eval(), given.out / NETWORK)


if __name__ == "__main__":
    main()
