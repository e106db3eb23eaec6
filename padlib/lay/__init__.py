"""Lays: placing pieces on cloth."""
