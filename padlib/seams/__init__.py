"""Seams: curves, the seam plan, panels and their partners."""
