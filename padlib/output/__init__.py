"""Output: PDF, SVG, DXF, PNG, HTML guide, report."""
