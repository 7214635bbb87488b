"""Draws trays whose truth is known by geometry: scenes in millimetres go in, photos with exact per-plant areas come out."""
