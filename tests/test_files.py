"""Files are written whole or not at all, and recorded names reach the disk harmless."""

import subprocess
import sys
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.files import safe_cell, safe_file_name, write_whole

OLD = b"old " * 500_000
NEW = b"new " * 500_000

WRITER = """
import sys
from pathlib import Path
from survey.files import write_whole
path = Path(sys.argv[1])
print("ready", flush=True)
while True:
    write_whole(path, b"new " * 500_000)
    write_whole(path, b"old " * 500_000)
"""


def test_killed_at_any_moment_leaves_old_or_new(tmp_path):
    path = tmp_path / "fit.json"
    write_whole(path, OLD)
    for delay_s in (0.0, 0.004, 0.009, 0.017, 0.031, 0.05, 0.08, 0.12):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        ) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(delay_s)
            writer.kill()
        assert path.read_bytes() in (OLD, NEW)


def test_refusing_disk_leaves_old_file_and_no_temporary(tmp_path, monkeypatch):
    path = tmp_path / "fit.json"
    write_whole(path, "old")

    def full(_descriptor):
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr("survey.files.os.fsync", full)
    with pytest.raises(OSError, match="No space left on device"):
        write_whole(path, "new", durable=True)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["fit.json"]


def test_text_is_utf8_with_plain_line_ends(tmp_path):
    path = write_whole(tmp_path / "deep" / "table.csv", "a,b\nÄ,ß\n")
    assert path.read_bytes() == "a,b\nÄ,ß\n".encode()


@given(st.text())
def test_any_name_becomes_one_harmless_file_name(name):
    safe = safe_file_name(name)
    assert safe
    assert set(safe) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
    assert len(safe) <= 60
    assert not safe.startswith("-")


@given(st.text())
def test_no_cell_is_a_formula_or_carries_control_characters(text):
    cell = safe_cell(text)
    assert cell.lstrip()[:1] not in ("=", "+", "-", "@")
    assert "\n" not in cell
    assert "\r" not in cell
    assert "\x00" not in cell
