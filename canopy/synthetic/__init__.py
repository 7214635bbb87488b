"""Draws trays whose truth is known by geometry: scenes in millimetres in, photos with exact per-plant areas out."""
