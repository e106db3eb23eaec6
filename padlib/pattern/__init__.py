"""Pieces: allowance, notches, labels, darts; bill of materials; order of work."""

from padlib.pattern.make import make_pieces
from padlib.pattern.piece import EdgeLabel, Notch, Piece

__all__ = ["EdgeLabel", "Notch", "Piece", "make_pieces"]
