"""A check says of every stage what the stage itself then does."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from record.record_folder import ARCH, POINTS, SOUND, write_folder

from survey.cli import main
from survey.errors import GeometryError
from survey.fitting import fit_arch
from survey.readiness import Stage, outlooks_of
from survey.record import Status, check_record, read_record
from survey.record.model import Feature
from survey.record.shortfall import FEWEST_POINTS, IN_A_SPOT_MM, shortfall_of, soffit_of
from survey.shipped import demo_record

HEADING, *ROWS = POINTS.splitlines()
SPRINGINGS, EDGES = ROWS[:2], ROWS[2:]


def _points(rows: list[str]) -> dict[str, str | bytes]:
    return {"arch.toml": ARCH, "points.csv": "\n".join([HEADING, *SPRINGINGS, *rows]) + "\n"}


def _line(n: int, x_step: float, y_step: float) -> list[str]:
    return [f"P{i},{i * x_step - 150:.1f},{i * y_step:.1f},,intrados,1,,,," for i in range(n)]


def _row(rise_mm: float) -> list[str]:
    """Edges of 15 bricks over about a metre, flat or with a little rise, each read within about 1 mm."""
    error = np.random.default_rng(7).normal(0.0, 1.0, (15, 2))
    rows = []
    for course in range(1, 16):
        for k in range(2):
            x = 66.0 * (course - 8) + 56.0 * (k - 0.5)
            y = rise_mm * (1.0 - (x / 495.0) ** 2) + error[course - 1, k]
            rows.append(f"P{2 * course + k},{x:.2f},{y:.2f},,intrados,1,,,1.0,")
    return rows


def _times(factor: float) -> list[str]:
    """The edges of the record, in a unit so many times too great."""
    cells = [row.split(",") for row in EDGES]
    return [",".join([c[0], str(float(c[1]) * factor), str(float(c[2]) * factor), *c[3:]]) for c in cells]


TOO_LITTLE = {
    "lintel": (_points(_row(0.0)), "the intrados is straight within the measuring error (rise "),
    "kilometres": (_points(_times(1e4)), "m, further than any brick arch; correct measure.unit in arch.toml"),
    "one point": (_points(EDGES[:1]), "1 intrados points of ring 1 were surveyed; at least 4 are needed"),
    "three points": (_points(EDGES[3:6]), "3 intrados points of ring 1 were surveyed; at least 4 are needed"),
    "level line": (_points(_line(10, 30.0, 0.0)), "all intrados points lie on a straight line"),
    "sloping line": (_points(_line(10, 30.0, 20.0)), "all intrados points lie on a straight line"),
    "one spot": (_points(_line(10, 1.0, 0.4)), "all intrados points lie within about 3.1 mm of one spot"),
    "the second ring alone": (
        {
            "arch.toml": ARCH + ARCH[ARCH.index("[[rings]]") :].replace("ring = 1", "ring = 2"),
            "points.csv": POINTS.replace(",intrados,1,", ",intrados,2,"),
        },
        "0 intrados points of ring 1 were surveyed",
    ),
}


@pytest.mark.parametrize("case", TOO_LITTLE)
def test_check_refuses_what_fit_refuses_and_in_the_same_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], case: str
) -> None:
    files, why = TOO_LITTLE[case]
    folder = write_folder(tmp_path / "record", files)
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr()
    assert main(["fit", str(folder), "--out", str(tmp_path / "out")]) == 1
    refused = capsys.readouterr().err.strip()
    assert why in refused
    assert told.err == f"points.csv: {refused}\n"
    assert told.out.splitlines()[-4:] == [
        f"fit: cannot be done yet; {refused}",
        "deviations: cannot be done yet; it needs the fit",
        "rebuild: cannot be done yet; it needs the fit",
        "cannot be fitted yet: measure more first",
    ]
    report = check_record(folder)
    assert report.status is Status.TOO_LITTLE
    assert [str(fault) for fault in report.faults] == [f"points.csv: {refused}"]


def test_as_many_points_as_are_needed_are_enough(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, _points([EDGES[0], EDGES[3], EDGES[6], EDGES[9]][:FEWEST_POINTS]))
    report = check_record(folder)
    assert report.status is not Status.TOO_LITTLE
    assert report.record is not None
    assert outlooks_of(report.record)[0].possible


def test_the_least_spread_is_where_the_words_say() -> None:
    """Two heaps of points 2 d apart spread by d about their middle."""
    heaps = np.array([[-1.0, 0.0], [1.0, 0.0], [-1.0, 0.4], [1.0, 0.4]])
    near, far = (shortfall_of(heaps * (IN_A_SPOT_MM + by)) for by in (-0.1, 0.1))
    assert near is not None
    assert near.reason == "all intrados points lie within about 9.9 mm of one spot"
    assert far is None


def test_a_miscount_is_told_before_it_is_built_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "record"
    shutil.copytree(demo_record("cellar_doorway"), folder)
    arch = (folder / "arch.toml").read_text(encoding="utf-8")
    (folder / "arch.toml").write_text(arch.replace("courses = 33", "courses = 36"), encoding="utf-8")
    assert main(["check", str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    fit, deviations, rebuild, status = lines[-4:]
    assert fit.startswith("fit: can be done; ")
    assert "By arch.toml ring 1 has 36 courses, but the courses found and the rhythm make it 33" in deviations
    assert deviations.startswith("deviations: can be done, with doubts; ")
    assert rebuild.startswith("rebuild: cannot be done yet; Ring 1: 36 courses are recorded, but ")
    assert status == "can be used; look at the doubts first"
    assert main(["fit", str(folder), "--out", str(tmp_path / "out")]) == 0
    assert "By arch.toml ring 1 has 36 courses, but the courses found" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["cellar_doorway", "loft_window", "cart_gateway"])
def test_demo_records_are_ready_for_every_stage(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(demo_record(name))]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(";")[0] for line in lines] == [*(f"{stage}: can be done" for stage in Stage), "ready"]


def test_a_collar_joint_left_out_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Taken from the survey where that shows it, else a doubt; on the screen either way."""
    folder = tmp_path / "record"
    shutil.copytree(demo_record("cellar_doorway"), folder)
    arch = (folder / "arch.toml").read_text()
    (folder / "arch.toml").write_text(arch.replace("collar_joint", "# collar_joint"))
    _, deviations, _ = outlooks_of(read_record(folder))
    assert not deviations.doubtful
    assert "collar_joint of ring 2 is not given: 7" in deviations.because  # 8 mm was built, 1.4 mm uncertain
    rows = (folder / "points.csv").read_text().splitlines()
    ring = rows[0].split(",").index("ring")
    kept = [row for row in rows if row.split(",")[ring] not in ("2", "3")]
    (folder / "points.csv").write_text("\n".join(kept) + "\n")
    assert main(["check", str(folder)]) == 0
    told = "collar_joint of ring 2 is not given, and 0 points surveyed of that ring cannot tell it"
    said = capsys.readouterr().out
    assert f"deviations: can be done, with doubts; {told}: taken as 0 mm." in said
    main(["rebuild", str(folder), "--out", str(tmp_path / "out")])
    assert f"warning: {told}" in capsys.readouterr().out


def test_without_rings_the_curve_alone_can_be_found(tmp_path: Path) -> None:
    arch = ARCH[: ARCH.index("[[rings]]")]
    rows = [row.replace(",1,", ",,", 1) for row in ROWS]
    files = {"arch.toml": arch, "points.csv": "\n".join([HEADING, *rows]) + "\n"}
    fit, deviations, rebuild = outlooks_of(read_record(write_folder(tmp_path / "record", files)))
    assert (fit.possible, deviations.possible, rebuild.possible) == (True, False, False)
    assert "add a [[rings]] table" in deviations.because
    assert "write a [[rings]] table" in rebuild.because
    assert main(["rebuild", str(tmp_path / "record"), "--out", str(tmp_path / "out")]) == 1


def test_points_of_the_second_ring_are_not_the_soffit(tmp_path: Path) -> None:
    record = read_record(write_folder(tmp_path, dict(SOUND)))
    assert [record.points.name[i] for i in soffit_of(record.points)] == [row.split(",")[0] for row in EDGES]


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_that_goes_away_is_no_fault(unbuffered: str) -> None:
    """The pipe is closed before the command has written its first line."""
    command = [sys.executable, "-m", "survey", "check", str(demo_record("loft_window"))]
    environment = {**os.environ, "PYTHONUNBUFFERED": unbuffered}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdout.close()
        assert run.stderr.read() == ""
    assert run.returncode == 141


@pytest.mark.parametrize("refused", ["fit_arch", "plan_rebuild"])
def test_whatever_a_stage_raises_on_purpose_is_its_outlook(
    monkeypatch: pytest.MonkeyPatch, refused: str
) -> None:
    """A curve that folds up, say, is refused far below the stage that asked for it."""

    def refuse(*_: object) -> None:
        raise GeometryError("the curve folds up")

    monkeypatch.setattr(f"survey.readiness.{refused}", refuse)
    outlooks = {outlook.stage: outlook for outlook in outlooks_of(read_record(demo_record("loft_window")))}
    stage = Stage.FIT if refused == "fit_arch" else Stage.REBUILD
    assert not outlooks[stage].possible
    assert outlooks[stage].because == "the curve folds up"
    assert outlooks[Stage.FIT].possible == (stage is Stage.REBUILD)


@pytest.mark.parametrize("off_mm", [150.0, 22.0])
def test_a_springing_point_that_is_not_believed_is_a_doubt(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], off_mm: float
) -> None:
    """Far from every curve, or on the curve but not where the courses beside it lead."""
    folder = tmp_path / "record"
    shutil.copytree(demo_record("loft_window"), folder)
    sound = outlooks_of(read_record(folder))[0]
    assert not sound.doubtful
    rows = (folder / "points.csv").read_text(encoding="utf-8").splitlines()
    k = next(i for i, row in enumerate(rows) if row.startswith("SL,"))
    name, x, y, *rest = rows[k].split(",")
    rows[k] = ",".join([name, x, f"{float(y) + off_mm / 10.0:.2f}", *rest])
    (folder / "points.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert main(["check", str(folder)]) == 0
    said = capsys.readouterr().out.splitlines()
    fitted = next(line for line in said if line.startswith("fit: "))
    assert fitted.startswith("fit: can be done, with doubts; ")
    assert "The left springing point " in fitted
    assert fitted.endswith(
        ": measure it again. Left out: springing point SL; "
        "measure both edges of the courses beside it again too."
    )
    assert said[-1] == Status.DOUBTFUL


def test_a_springing_point_left_out_is_told_with_a_verdict_that_is_not_clear() -> None:
    record = read_record(demo_record("loft_window"))
    fit = fit_arch(record)
    springing = np.array([record.points.feature[i] is Feature.SPRINGING for i in fit.points.index])
    aside = replace(
        fit, points=replace(fit.points, set_aside=springing), verdict=replace(fit.verdict, clear=False)
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("survey.readiness.fit_arch", lambda _: aside)
        told = outlooks_of(record)[0]
    assert told.doubtful
    assert told.because.startswith(fit.verdict.because)
    assert "Left out: springing points SL and SR; measure both edges" in told.because
