"""The command line, end to end on the demo records: exit codes, files, columns, and what bad input gets."""

import csv
import io
import json
import math
import shutil
import subprocess
import sys
import time

import numpy as np
import pytest

from survey.cli import main
from survey.shipped import datasets_folder, demo_record

DEMOS = ("cellar_doorway", "loft_window", "cart_gateway")

LAYOUT = (
    "ring,course,kind,source,width_intrados_mm,width_extrados_mm,depth_mm,joint_after_intrados_mm,"
    "joint_after_extrados_mm,station_start_mm,station_end_mm,from_crown_mm,bed_angle_deg,templet,"
    "x1_mm,y1_mm,x2_mm,y2_mm,x3_mm,y3_mm,x4_mm,y4_mm"
).split(",")
DEVIATIONS = (
    "ring,course,station_mm,x_mm,y_mm,deviation_mm,deviation_sigma_mm,face_offset_mm,width_mm,joint_mm,"
    "joint_tilt_deg,condition,flag"
).split(",")
CUTS = "templet,count,width_intrados_mm,width_extrados_mm,depth_mm,courses".split(",")


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


@pytest.fixture(scope="module", params=DEMOS)
def whole_job(request, tmp_path_factory):
    out = tmp_path_factory.mktemp(request.param)
    assert main(["all", str(demo_record(request.param)), "--out", str(out)]) == 0
    return out


def test_every_result_file_is_there(whole_job):
    names = {path.name for path in whole_job.iterdir()}
    assert names == {
        "fit.json",
        "deviations.csv",
        "layout.csv",
        "rebuild.json",
        "cuts.csv",
        "centring.csv",
        "quantities.csv",
        "laying.csv",
        "report.pdf",
        "report.html",
        "drawings",
    }
    kinds = {path.suffix for path in (whole_job / "drawings").iterdir()}
    assert kinds == {".pdf", ".svg", ".dxf"}


def test_columns_start_with_the_stable_ones(whole_job):
    for name, columns in (("layout.csv", LAYOUT), ("deviations.csv", DEVIATIONS), ("cuts.csv", CUTS)):
        heading = (whole_job / name).read_text(encoding="utf-8").splitlines()[0].split(",")
        assert heading[: len(columns)] == columns


def test_fit_json_says_what_it_must(whole_job):
    fit = json.loads((whole_job / "fit.json").read_text(encoding="utf-8"))
    wanted = "record frame verdict chosen candidates points movement module courses".split()
    assert set(wanted) <= set(fit)
    axes = np.array([fit["frame"][axis] for axis in ("x_axis", "y_axis", "w_axis")])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    chosen = fit["candidates"][fit["chosen"]]
    assert chosen["axis_x_mm"]["value"] == pytest.approx(0.0, abs=1e-6)
    assert chosen["springing_y_mm"]["value"] == pytest.approx(0.0, abs=1e-6)
    verdict = fit["verdict"]
    assert sum(verdict["probability"].values()) + verdict["none_of_these"] == pytest.approx(1.0, abs=1e-9)
    k = len(chosen["parameters"])
    assert np.shape(chosen["covariance"]) == (k, k)
    for name in ("half_span_mm", "rise_mm", "springing_y_mm", "axis_x_mm", "tilt_deg"):
        assert set(chosen[name]) == {"value", "sigma"}


def test_bricks_and_joints_add_up_to_every_ring(whole_job):
    plan = json.loads((whole_job / "rebuild.json").read_text(encoding="utf-8"))
    table = rows(whole_job / "layout.csv")
    for ring in plan["rings"]:
        own = [row for row in table if row["ring"] == str(ring["ring"])]
        assert [int(row["course"]) for row in own] == list(range(ring["count"] + 1))
        total = sum(float(row["joint_after_intrados_mm"]) for row in own)
        total += sum(float(row["width_intrados_mm"]) for row in own[1:])
        assert total == pytest.approx(ring["length_mm"], abs=0.01)


def test_cautions_are_printed(capsys, tmp_path):
    assert main(["rebuild", str(demo_record("loft_window")), "--out", str(tmp_path)]) == 0
    printed = capsys.readouterr().out
    assert "caution: " in printed
    assert "engineer" in printed
    assert "wrote " in printed


def test_running_twice_gives_the_same_bytes(tmp_path):
    for name in ("first", "second"):
        assert main(["all", str(demo_record("loft_window")), "--out", str(tmp_path / name)]) == 0
    for path in (tmp_path / "first").rglob("*"):
        if path.is_file():
            other = tmp_path / "second" / path.relative_to(tmp_path / "first")
            assert path.read_bytes() == other.read_bytes(), path.name


FAMILIES = ("semicircular", "segmental", "elliptical")
CURVES = (*FAMILIES, "present", "original", "surveyed")


@pytest.mark.parametrize("curve", CURVES)
def test_a_whole_rebuild_to_every_curve(tmp_path, curve):
    record = str(demo_record("cart_gateway"))
    code = main(["rebuild", record, "--out", str(tmp_path), "--scope", "whole", "--curve", curve])
    plan = json.loads((tmp_path / "rebuild.json").read_text(encoding="utf-8"))
    assert plan["scope"] == "whole"
    assert code == (1 if plan["refusals"] else 0)
    if curve in FAMILIES:
        assert plan["curve"]["family"] == curve


def test_a_blank_record_is_empty_and_nothing_worse(tmp_path, capsys):
    folder = tmp_path / "my_arch"
    assert main(["new", str(folder)]) == 0
    assert main(["check", str(folder)]) == 0
    assert "empty: nothing measured yet" in capsys.readouterr().out
    assert main(["fit", str(folder), "--out", str(tmp_path / "out")]) == 1
    assert not (tmp_path / "out").exists()


def test_new_does_not_touch_a_folder_in_use(tmp_path, capsys):
    (tmp_path / "points.csv").write_text("mine")
    assert main(["new", str(tmp_path)]) == 1
    assert (tmp_path / "points.csv").read_text() == "mine"
    assert len(capsys.readouterr().err.splitlines()) == 1


WRONG = ([], ["fit"], ["fit", "somewhere"], ["rebuild", "x", "--out", "y", "--scope", "half"])


@pytest.mark.parametrize("arguments", WRONG)
def test_wrong_usage_ends_with_two(arguments):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2


def test_every_fault_is_one_line_and_nothing_is_written(tmp_path, capsys):
    folder = tmp_path / "bad"
    shutil.copytree(demo_record("loft_window"), folder)
    lines = (folder / "points.csv").read_text(encoding="utf-8").splitlines()
    heading = lines[0].split(",")
    for row, column, text in ((4, "x", "12,5,3"), (6, "feature", "arch bottom"), (8, "course", "seven")):
        cells = lines[row - 1].split(",")
        cells[heading.index(column)] = f'"{text}"'
        lines[row - 1] = ",".join(cells)
    (folder / "points.csv").write_text("\n".join(lines), encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["all", str(folder), "--out", str(tmp_path / "out")]) == 1
    faults = capsys.readouterr().err.splitlines()
    for row, column in ((4, "x"), (6, "feature"), (8, "course")):
        assert sum(line.startswith(f"points.csv row {row}, column {column}: ") for line in faults) == 1
    assert len(faults) == 3
    assert not (tmp_path / "out").exists()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize("folder", ["no_such_folder", "datasets"])
def test_a_folder_that_is_no_record_says_so_line_by_line(tmp_path, capsys, folder):
    place = datasets_folder() if folder == "datasets" else tmp_path / folder
    assert main(["fit", str(place), "--out", str(tmp_path / "out")]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert lines
    assert all(line.startswith(("arch.toml: ", "points.csv: ")) or folder in line for line in lines)


def test_killed_at_any_moment_every_file_is_whole(tmp_path):
    """Whatever stands after a kill can be read to its end."""
    command = [sys.executable, "-m", "survey", "all", str(demo_record("loft_window")), "--out", str(tmp_path)]
    for delay_s in (0.7, 1.1, 1.5, 1.9):
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as run:
            time.sleep(delay_s)
            run.kill()
        for path in tmp_path.rglob("[!.]*"):
            if path.suffix == ".json":
                json.loads(path.read_text(encoding="utf-8"))
            elif path.suffix == ".csv":
                table = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
                assert {len(row) for row in table} == {len(table[0])}
            elif path.suffix == ".pdf":
                assert path.read_bytes().rstrip().endswith(b"%%EOF")
            elif path.suffix in (".svg", ".html"):
                assert path.read_text(encoding="utf-8").rstrip().endswith((f"</{path.suffix[1:]}>", "</svg>"))


def test_nothing_numeric_is_infinite_or_unknown_text(whole_job):
    for name in ("layout.csv", "deviations.csv", "centring.csv", "laying.csv"):
        for row in rows(whole_job / name):
            for column, cell in row.items():
                if column.endswith(("_mm", "_deg")) and cell:
                    assert math.isfinite(float(cell)), (name, column)


def test_two_surveys_compared_name_the_course_that_moved(tmp_path, capsys):
    """Course 7 of a second survey, in cm, stands 15 mm into the opening; nothing else differs."""
    later = tmp_path / "later"
    shutil.copytree(demo_record("loft_window"), later)
    lines = (later / "points.csv").read_text(encoding="utf-8").splitlines()
    heading = lines[0].split(",")
    y, course = heading.index("y"), heading.index("course")
    for n, line in enumerate(lines[1:], start=1):
        cells = line.split(",")
        if cells[course] == "7":
            cells[y] = str(float(cells[y]) - 1.5)
            lines[n] = ",".join(cells)
    (later / "points.csv").write_text("\n".join(lines), encoding="utf-8")
    out = tmp_path / "out"
    assert main(["compare", str(demo_record("loft_window")), str(later), "--out", str(out)]) == 0
    comparison = json.loads((out / "comparison.json").read_text(encoding="utf-8"))
    assert comparison["courses_moved"] == [[1, 7]]
    assert (out / "drawings" / "comparison.pdf").is_file()
    (moved,) = [row for row in rows(out / "comparison.csv") if row["moved"] == "yes"]
    assert float(moved["outwards_mm"]) == pytest.approx(-15.0, abs=0.2)
    assert "Course 7 of ring 1 moved 15" in capsys.readouterr().out


def test_a_pipe_gets_no_progress_bar(tmp_path):
    command = [sys.executable, "-m", "survey", "all", str(demo_record("loft_window")), "--out", str(tmp_path)]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    assert run.stderr == ""


def edited(tmp_path, name, file, old, new):
    """A copy of a demo record with one text of one file replaced."""
    folder = tmp_path / "edited"
    shutil.copytree(demo_record(name), folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


def test_a_repair_to_a_miscount_is_refused(tmp_path, capsys):
    folder = edited(tmp_path, "cellar_doorway", "arch.toml", "courses = 33", "courses = 36")
    assert main(["rebuild", str(folder), "--out", str(tmp_path / "out")]) == 1
    assert (
        "36 courses are recorded, but what stands and the rhythm leave room for 33" in capsys.readouterr().err
    )


def test_marks_that_lay_one_brick_into_another_are_refused(tmp_path, capsys):
    folder = tmp_path / "laying"
    shutil.copytree(demo_record("loft_window"), folder)
    (folder / "laid.csv").write_text("ring,course,edge,along\n1,3,right,10\n1,2,right,16\n", encoding="utf-8")
    assert main(["rebuild", str(folder), "--out", str(tmp_path / "out"), "--scope", "whole"]) == 1
    assert "before course 2 ends at 160.0 mm; measure both marks again" in capsys.readouterr().err


def test_templets_of_an_earlier_plan_do_not_stay(tmp_path):
    assert main(["rebuild", str(demo_record("cellar_doorway")), "--out", str(tmp_path)]) == 0
    assert list((tmp_path / "drawings").glob("templet_*.dxf"))
    assert main(["rebuild", str(demo_record("loft_window")), "--out", str(tmp_path)]) == 0
    assert not list((tmp_path / "drawings").glob("templet_[A-Z].dxf"))


def test_an_arch_of_no_family_is_not_rebuilt_whole_unasked(tmp_path, capsys):
    """Half-parabolas meeting at a kink: no family fits, so a curve must be named."""
    folder = tmp_path / "pointed"
    folder.mkdir()
    (folder / "arch.toml").write_text(
        '[arch]\nname = "p"\n[measure]\nunit = "mm"\npoint_sigma = 1.0\n'
        '[[rings]]\nring = 1\ndepth = 215\nbrick_width = 50\nlaid = "radial"\n'
    )
    xs = np.linspace(-1000.0, 1000.0, 81)
    lines = [f"P{i},{x:.1f},{1400 * (1 - abs(x) / 1000) ** 0.7:.1f},intrados,," for i, x in enumerate(xs)]
    (folder / "points.csv").write_text("point,x,y,feature,ring,course\n" + "\n".join(lines) + "\n")
    assert main(["rebuild", str(folder), "--out", str(tmp_path / "out"), "--scope", "whole"]) == 1
    assert "follows the nearest family only" in capsys.readouterr().err


def test_a_file_in_the_place_of_the_output_folder_is_told_before_any_work(tmp_path, capsys):
    (tmp_path / "out").write_text("mine")
    assert main(["all", str(demo_record("loft_window")), "--out", str(tmp_path / "out")]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == f"{tmp_path / 'out'}: is a file; give --out a folder, a new one or one in use\n"
    assert (tmp_path / "out").read_text() == "mine"


CAUTIONED = ("caution: Prop the arch before anyone", "A qualified engineer checks")


def test_a_moved_arch_is_not_shown_without_its_cautions(tmp_path, capsys):
    for stage in ("fit", "deviations"):
        assert main([stage, str(demo_record("cart_gateway")), "--out", str(tmp_path / stage)]) == 0
        printed = capsys.readouterr().out
        assert all(words in printed for words in CAUTIONED), stage
        assert "structural design" in printed


def test_a_sound_arch_gets_no_cautions_until_one_brick_is_loose(tmp_path, capsys):
    """Only the noted condition of one brick differs; the curve is the same."""
    folder = tmp_path / "sound"
    folder.mkdir()
    (folder / "arch.toml").write_text(
        '[arch]\nname = "s"\n[measure]\nunit = "mm"\npoint_sigma = 1.0\n'
        '[[rings]]\nring = 1\ndepth = 215\nbrick_width = 50\nlaid = "radial"\n'
    )
    angles, noise = np.linspace(0.0, math.pi, 61), np.random.default_rng(5).normal(0.0, 1.0, 61)
    lines = [
        f"P{i},{(900 + e) * math.cos(a):.2f},{(900 + e) * math.sin(a):.2f},intrados,,"
        for i, (a, e) in enumerate(zip(angles, noise, strict=True))
    ]
    (folder / "points.csv").write_text("point,x,y,feature,ring,course\n" + "\n".join(lines) + "\n")
    assert main(["fit", str(folder), "--out", str(tmp_path / "a")]) == 0
    assert "caution: " not in capsys.readouterr().out
    (folder / "courses.csv").write_text("ring,course,condition\n1,9,loose\n")
    assert main(["fit", str(folder), "--out", str(tmp_path / "b")]) == 0
    printed = capsys.readouterr().out
    assert all(words in printed for words in CAUTIONED)


def test_each_line_of_a_comparison_says_which_survey_it_is_of(tmp_path, capsys):
    demo = str(demo_record("loft_window"))
    assert main(["fit", demo, "--out", str(tmp_path / "fit")]) == 0
    told = [
        line for line in capsys.readouterr().out.splitlines() if not line.startswith(("caution", "wrote"))
    ]
    assert main(["compare", demo, demo, "--out", str(tmp_path / "out")]) == 0
    lines = capsys.readouterr().out.splitlines()
    n = len(told)
    assert lines[:n] == [f"earlier: {line}" for line in told]
    assert lines[n : 2 * n] == [f"later: {line}" for line in told]


def test_what_to_do_next_stands_before_warnings_and_cautions(tmp_path, capsys):
    folder = tmp_path / "laying"
    shutil.copytree(demo_record("loft_window"), folder)
    assert main(["rebuild", str(folder), "--out", str(tmp_path / "plan"), "--scope", "whole"]) == 0
    before = capsys.readouterr().out
    assert "Go on with" not in before
    laid = [row for row in rows(tmp_path / "plan" / "layout.csv") if row["course"] in ("1", "2")]
    marks = "".join(f"1,{row['course']},right,{float(row['station_end_mm']) / 10:.2f}\n" for row in laid)
    (folder / "laid.csv").write_text("ring,course,edge,along\n" + marks, encoding="utf-8")
    assert main(["rebuild", str(folder), "--out", str(tmp_path / "out"), "--scope", "whole"]) == 0
    lines = capsys.readouterr().out.splitlines()
    plan = json.loads((tmp_path / "out" / "rebuild.json").read_text(encoding="utf-8"))
    at = {note: lines.index(note) for note in plan["notes"]}
    next_steps = [
        line for line in at if line.startswith("Laid already: ") and "Go on with ring 1, course" in line
    ]
    assert [at[line] for line in next_steps] == [min(at.values())]
    warned = [lines.index(f"warning: {warning}") for warning in plan["warnings"]]
    cautioned = [k for k, line in enumerate(lines) if line.startswith("caution: ")]
    assert max(at.values()) < min(warned)
    assert max(warned) < min(cautioned)
    assert len(cautioned) == 3
    assert lines[cautioned[-1] + 1].startswith("wrote ")
    for caution in plan["cautions"]:
        assert any(caution.partition(". ")[0].rstrip(".") in lines[k] for k in cautioned)


def test_the_files_are_told_in_one_line(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["fit", str(demo_record("loft_window")), "--out", str(out)]) == 0
    (line,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("wrote ")]
    files = [path for path in out.rglob("*") if path.is_file()]
    assert line == f"wrote {len(files)} files to {out}: fit.json, drawings/"


def test_a_check_without_doubts_speaks_of_none(tmp_path, capsys):
    """A joint limit that does not let the ring close refuses the rebuild; nothing measured is in doubt."""
    folder = edited(tmp_path, "loft_window", "arch.toml", "min = 0.4\nmax = 1.5", "min = 0.1\nmax = 0.2")
    assert main(["check", str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert not any("doubt" in line for line in lines)
    assert lines[-2].startswith("rebuild: cannot be done yet; ")
    assert lines[-1] == "can be used, but not for rebuild: the reason stands above"
