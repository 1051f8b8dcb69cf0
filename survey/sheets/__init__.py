"""Placeholder docstring; the room fills in below."""
