"""Make every notebook anew from the ``.py`` file beside it, run it and store its static outputs.

    python notebooks/remake.py            all of them
    python notebooks/remake.py 2_fit      one

The ``.py`` files (cells marked ``# %%``) are what is edited; the ``.ipynb`` files are made from them and
committed with their pictures and tables, without widget state, times or paths.
"""

from __future__ import annotations

import sys
from pathlib import Path

import jupytext
import nbformat
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parent
TIMEOUT_S = 300
KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}


def sources() -> list[Path]:
    """The ``.py`` sources of the notebooks, in reading order."""
    return sorted(path for path in FOLDER.glob("*.py") if path.name[0].isdigit())


def executed(source: Path) -> nbformat.NotebookNode:
    """Notebook made from a source and run from top to bottom, cleaned of all that changes from run to run.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        When a cell fails.
    """
    notebook = jupytext.read(source)
    notebook.metadata = nbformat.from_dict({"kernelspec": KERNEL})
    client = NotebookClient(
        notebook,
        timeout=TIMEOUT_S,
        kernel_name="python3",
        store_widget_state=False,
        resources={"metadata": {"path": str(FOLDER)}},
    )
    client.execute()
    notebook.metadata = nbformat.from_dict(
        {"kernelspec": KERNEL, "language_info": {"name": "python", "file_extension": ".py"}}
    )
    for number, cell in enumerate(notebook.cells):
        cell.id = f"cell-{number}"
        cell.metadata = nbformat.from_dict({})
    return notebook


def remake(source: Path) -> Path:
    """Write the notebook beside its source and return its path."""
    path = source.with_suffix(".ipynb")
    nbformat.write(executed(source), path)
    return path


def main() -> None:
    """Remake the notebooks named on the command line, or all."""
    chosen = sys.argv[1:]
    for source in sources():
        if not chosen or source.stem in chosen:
            print(remake(source).name)


if __name__ == "__main__":
    main()
