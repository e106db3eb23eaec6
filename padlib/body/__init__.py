"""The wearer: scan to body, landmarks, measurements, parametric bodies."""
