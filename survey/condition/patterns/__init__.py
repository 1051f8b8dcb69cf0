"""Distress that makes a pattern, and the noise it must stand out from: sag, patches, faces, pitch."""
