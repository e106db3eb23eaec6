"""Surfaces: reading, repair, remeshing, geodesics, cutting exactly along curves, sparse solves."""
