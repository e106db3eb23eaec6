"""The kinds of pad, one file each."""
