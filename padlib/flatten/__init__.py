"""Flattening: conformal and isometric maps, stretch, darts, seam matching."""
