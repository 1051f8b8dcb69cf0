"""Demo records and notebooks are found where they lie."""

import pytest

from survey.shipped import demo_record, notebooks_folder


@pytest.mark.parametrize("name", ["cellar_doorway", "loft_window", "cart_gateway"])
def test_demo_records_are_whole_folders_with_a_readme(name):
    folder = demo_record(name)
    assert {"arch.toml", "points.csv", "courses.csv", "README.md"} <= {p.name for p in folder.iterdir()}


def test_notebooks_are_found():
    assert sorted(notebooks_folder().glob("*.ipynb"))


def test_an_unknown_demo_record_is_refused_with_the_known_ones():
    with pytest.raises(FileNotFoundError, match="no demo record 'bell_tower'; there are: cart_gateway"):
        demo_record("bell_tower")
