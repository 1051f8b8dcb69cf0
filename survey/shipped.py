"""Where demo records and notebooks lie: inside an installed wheel, or beside ``survey/`` in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _shipped_folder(name: str) -> Path:
    installed = _PACKAGE / "_shipped" / name
    folder = installed if installed.is_dir() else _PACKAGE.parent / name
    if not folder.is_dir():
        raise FileNotFoundError(
            f"the folder {name}/ is neither inside the installed package nor beside it; reinstall the package"
        )
    return folder


def datasets_folder() -> Path:
    """Folder of the demo records."""
    return _shipped_folder("datasets")


def notebooks_folder() -> Path:
    """Folder of the notebooks."""
    return _shipped_folder("notebooks")


def demo_record(name: str = "cellar_doorway") -> Path:
    """Folder of one demo record.

    Raises
    ------
    FileNotFoundError
        When there is no demo record of that name; the message lists those there are.

    Examples
    --------
    >>> demo_record("loft_window").name
    'loft_window'
    """
    folder = datasets_folder() / name
    if not (folder / "arch.toml").is_file():
        known = ", ".join(sorted(p.parent.name for p in datasets_folder().glob("*/arch.toml")))
        raise FileNotFoundError(f"no demo record {name!r}; there are: {known}")
    return folder
