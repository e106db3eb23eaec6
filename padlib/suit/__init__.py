"""The suit file and the way through."""
