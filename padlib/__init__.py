"""padlib."""
