"""What is readable but doubtful: what to measure or look at again."""

from __future__ import annotations

from survey.record.contents import Contents
from survey.record.findings import Findings
from survey.record.reduce import Reduced


def tell_doubtful(contents: Contents, reduced: Reduced, findings: Findings) -> None:
    """Note every doubt about a record that can be used."""
