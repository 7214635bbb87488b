"""Rebuilds the canopy network from seeds: draw trays, fit on them under heavy change of light and ground, export."""
