"""What was measured: the record folder, read, checked and reduced to the face of the wall."""

from survey.record.read import read_record

__all__ = ["read_record"]
