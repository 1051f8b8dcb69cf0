"""What was measured: the record folder, read, checked and reduced to the face of the wall."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from survey.record.read import read_record

if TYPE_CHECKING:
    from survey.record.blank import write_blank_record
    from survey.record.check import CheckReport, RecordCounts, Status, check_record

__all__ = ["CheckReport", "RecordCounts", "Status", "check_record", "read_record", "write_blank_record"]


def __getattr__(name: str) -> Any:
    # Loaded when asked for: the stages of the job only read a record.
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{'blank' if name == 'write_blank_record' else 'check'}"), name)
