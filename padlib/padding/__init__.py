"""Pads: shapes, placement, the shell, pillows."""
