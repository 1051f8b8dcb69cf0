"""Drawings written as SVG, PDF and DXF; these only render."""
