"""Proof: sewing the flats back in 3D, getting in and out."""
