"""Pieces: allowance, notches, labels, darts; bill of materials; order of work."""
