"""The stages of the job on the demo doorway, and whole commands beside a bare interpreter.

Not asserted, for machines differ; run with ``pytest tests/benchmarks/test_stages.py --benchmark-enable``.
Wanted: the three computing stages together under 0.5 s, ``fit`` under 2.5 times an interpreter that only
imports numpy, scipy and pandas, and ``all`` under 10 s.
"""

import subprocess
import sys

import pytest

from survey.condition import map_deviations
from survey.fitting import fit_arch
from survey.rebuild import plan_rebuild
from survey.record import read_record
from survey.sheets.write import write_sheets
from survey.shipped import demo_record

DOORWAY = demo_record("cellar_doorway")


@pytest.fixture(scope="module")
def stages():
    record = read_record(DOORWAY)
    fit = fit_arch(record)
    return record, fit, map_deviations(record, fit), plan_rebuild(record, fit)


def test_read(benchmark):
    assert benchmark(read_record, DOORWAY).rings


def test_fit(benchmark, stages):
    assert benchmark(fit_arch, stages[0]).chosen


def test_deviations(benchmark, stages):
    record, fit, *_ = stages
    assert benchmark(map_deviations, record, fit).courses


def test_rebuild(benchmark, stages):
    record, fit, *_ = stages
    assert benchmark(plan_rebuild, record, fit).rings


def test_three_computing_stages(benchmark, stages):
    record = stages[0]

    def compute():
        fit = fit_arch(record)
        return map_deviations(record, fit), plan_rebuild(record, fit)

    assert all(benchmark(compute))


def test_all_sheets(benchmark, stages, tmp_path):
    assert benchmark(write_sheets, *stages, tmp_path)


COMMANDS = {
    "bare": ["-c", "import numpy, scipy, pandas"],
    "fit": ["-m", "survey", "fit", str(DOORWAY)],
    "all": ["-m", "survey", "all", str(DOORWAY)],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_whole_command(benchmark, tmp_path, name):
    arguments = [*COMMANDS[name], *([] if name == "bare" else ["--out", str(tmp_path)])]
    run = benchmark.pedantic(
        subprocess.run, args=([sys.executable, *arguments],), kwargs={"capture_output": True}, rounds=5
    )
    assert run.returncode == 0
