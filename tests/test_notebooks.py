"""The notebooks: in step with their sources, run without an error, small and free of what changes by run."""

import importlib.util
import json
import re

import jupytext
import pytest

from survey.shipped import notebooks_folder

FOLDER = notebooks_folder()
SOURCES = sorted(path for path in FOLDER.glob("*.py") if path.name[0].isdigit())
MAX_BYTES = 500_000


def _remake_module():
    spec = importlib.util.spec_from_file_location("remake", FOLDER / "remake.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(params=SOURCES, ids=lambda path: path.stem)
def source(request):
    return request.param


def test_there_is_a_notebook_for_every_stage():
    assert [path.stem for path in SOURCES] == ["1_record", "2_fit", "3_deviations", "4_rebuild"]


def test_notebook_is_in_step_with_its_source(source):
    stored = jupytext.read(source.with_suffix(".ipynb"))
    fresh = jupytext.read(source)
    assert [(c.cell_type, c.source) for c in stored.cells] == [(c.cell_type, c.source) for c in fresh.cells]


def test_stored_notebook_is_clean_and_small(source):
    text = source.with_suffix(".ipynb").read_text(encoding="utf-8")
    notebook = json.loads(text)
    assert len(text.encode()) < MAX_BYTES
    assert "widgets" not in notebook["metadata"]
    outputs = [output for cell in notebook["cells"] for output in cell.get("outputs", [])]
    assert outputs
    assert not [
        output for output in outputs if output["output_type"] == "error" or output.get("name") == "stderr"
    ]
    assert not re.search(r"/(home|root|work|tmp|Users)/", text)


def test_notebook_runs_and_shows_what_is_stored(source):
    """Running it anew ends without an error and every cell shows the same kinds of output as stored."""
    fresh = _remake_module().executed(source)
    stored = jupytext.read(source.with_suffix(".ipynb"))

    def kinds(notebook):
        return [[sorted(o.get("data", {"text": ""})) for o in c.get("outputs", [])] for c in notebook.cells]

    assert kinds(fresh) == kinds(stored)
    errors = [o for c in fresh.cells for o in c.get("outputs", []) if o.output_type == "error"]
    assert not errors
