"""What was measured: the record folder, read, checked and reduced to the face of the wall."""

from survey.record.blank import write_blank_record
from survey.record.check import CheckReport, RecordCounts, Status, check_record
from survey.record.read import read_record

__all__ = ["CheckReport", "RecordCounts", "Status", "check_record", "read_record", "write_blank_record"]
