"""Starting up: every room gives its names, and a command loads only what it needs."""

import gc
import importlib
import pkgutil
import subprocess
import sys
from types import ModuleType

import pytest

from survey.__main__ import run
from survey.shipped import demo_record

ROOMS = ("curves", "record", "fitting", "condition", "rebuild")


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_gives_every_name_it_lists_and_no_other(room):
    module = importlib.import_module(f"survey.{room}")
    assert len(set(module.__all__)) == len(module.__all__)
    for name in module.__all__:
        assert not isinstance(getattr(module, name), ModuleType)
    with pytest.raises(AttributeError, match=f"module 'survey.{room}' has no attribute 'unheard_of'"):
        _ = module.unheard_of


@pytest.mark.parametrize("room", ["fitting", "record", "rebuild"])
def test_no_module_hides_a_name_that_is_loaded_when_asked_for(room):
    """A module once loaded becomes an attribute of its package and would stand in the name's place."""
    package = importlib.import_module(f"survey.{room}")
    modules = {module.name for module in pkgutil.iter_modules(package.__path__)}
    assert modules
    assert not modules & set(package.__all__)


LOADED = """
import sys
from survey.cli import main
main(sys.argv[1:])
print("\\n".join(sys.modules))
"""


def loaded_by(*arguments):
    command = [sys.executable, "-c", LOADED, *arguments]
    return set(subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines())


def test_a_fit_loads_no_later_stage_and_no_heavy_library(tmp_path):
    modules = loaded_by("fit", str(demo_record("loft_window")), "--out", str(tmp_path))
    assert {"survey.fitting.arch", "survey.sheets.render.pdf"} <= modules
    assert not modules & {
        "pandas",
        "matplotlib",
        "ezdxf",
        "ipywidgets",
        "IPython",
        "scipy.optimize",
        "scipy.stats",
    }
    assert not modules & {
        "survey.condition.deviations",
        "survey.curves.displaced",
        "survey.fitting.free",
        "survey.record.check",
        "survey.rebuild.planner",
        "survey.sheets.render.dxf",
    }


def test_a_new_folder_needs_neither_the_fit_nor_the_sheets(tmp_path):
    modules = loaded_by("new", str(tmp_path / "record"))
    assert not any(name.startswith(("survey.fitting", "survey.sheets", "reportlab")) for name in modules)


def test_the_program_is_the_command_line(tmp_path, monkeypatch, capsys):
    """Elsewhere it has a process of its own; here the collector is set back afterwards."""
    monkeypatch.setattr(sys, "argv", ["survey", "new", str(tmp_path / "record")])
    try:
        assert run() == 0
        assert not gc.isenabled()
        assert gc.get_freeze_count() > 0
    finally:
        gc.unfreeze()
        gc.enable()
    assert "wrote an empty record folder" in capsys.readouterr().out
