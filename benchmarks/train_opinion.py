"""Rebuilds the colour table of the plain second opinion from rendered trays: python -m benchmarks.train_opinion.

Every kind of scene is drawn small with the given number of seeds; colours are taken with their exposure normalised as
the tool does it, half from leaves and half from everything else. Scenes of unseen seeds are scored at the end.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np

from canopy.segment.feed import exposure_gain
from canopy.segment.opinion import TABLE, dice, fit_opinion
from canopy.synthetic.kinds import KINDS
from canopy.synthetic.render import render
from canopy.synthetic.scenes import make_scene

WIDTH_PX, HEIGHT_PX = 800, 600
COLOURS_PER_SCENE = 4000
FIRST_TEST_SEED = 5000
SURE = 250  # of 255: pixels wholly leaf, and those wholly not, teach; mixed ones would blur the table


def drawn(kind, seed):
    """Normalised colours and the canopy of one scene."""
    picture = render(make_scene(kind, seed=seed, width_px=WIDTH_PX, height_px=HEIGHT_PX))
    gain = exposure_gain(picture.rgb, valid=np.ones(picture.canopy.shape, bool))
    return cv2.convertScaleAbs(picture.rgb, alpha=gain), picture.canopy


def sampled(rgb, canopy, rng):
    """Equally many sure colours of both kinds, as far as there are."""
    parts = [np.flatnonzero(canopy >= SURE), np.flatnonzero(canopy <= 255 - SURE)]
    chosen = [rng.choice(part, min(len(part), COLOURS_PER_SCENE // 2), replace=False) for part in parts]
    labels = np.concatenate([np.full(len(part), kind) for part, kind in zip(chosen, (True, False), strict=True)])
    return rgb.reshape(-1, 3)[np.concatenate(chosen)], labels


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, help="scenes of each kind")
    parser.add_argument("--out", type=Path, default=Path("canopy/segment") / TABLE)
    args = parser.parse_args()
    rng = np.random.default_rng(0)
    samples = [sampled(*drawn(kind, seed), rng) for seed in range(args.seeds) for kind in KINDS]
    opinion = fit_opinion(
        np.concatenate([rgb for rgb, _ in samples]), np.concatenate([is_plant for _, is_plant in samples])
    )
    np.savez_compressed(args.out, table=opinion.table)
    print(f"{len(samples)} scenes -> {args.out}; Dice on unseen seeds:")
    scores = []
    for kind in KINDS:
        rgb, canopy = drawn(kind, FIRST_TEST_SEED)
        scores.append(dice(opinion.probability(rgb) > 0.5, canopy > 127))
        print(f"  {kind:14s} {scores[-1]:.3f}")
    print(f"median {np.median(scores):.3f}, 10th percentile {np.percentile(scores, 10):.3f}")


if __name__ == "__main__":
    main()
