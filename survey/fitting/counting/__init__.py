"""Courses told apart and counted from what was measured of their edges."""
