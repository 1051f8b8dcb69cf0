"""The command line: ``python -m survey``.

Exit codes: 0 done; 1 the record cannot be used, or no plan can be built from it as asked (every fault on a
line of its own on stderr); 2 wrong usage; 141 whoever read the output went away before the end.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from survey import __version__
from survey.curves import Family
from survey.errors import ArchSurveyError, lines_of

if TYPE_CHECKING:
    from tqdm import tqdm

    from survey.condition.result import DeviationMap
    from survey.errors import Fault
    from survey.fitting.result import ArchFit
    from survey.rebuild import RebuildOptions, RebuildPlan
    from survey.record.model import Record

PIPE_CLOSED = 141
"""What a shell reports of a program that a closed pipe has ended (128 and the number of SIGPIPE)."""
CURVE_CHOICES = (*(str(family) for family in Family), "original", "present", "surveyed")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the program's name; None takes the process's own.
    """
    try:
        code = _run(_parser().parse_args(argv))
        sys.stdout.flush()
    except BrokenPipeError:
        _let_go_of_the_pipe()
        return PIPE_CLOSED
    return code


def _run(arguments: argparse.Namespace) -> int:
    run: Callable[[argparse.Namespace], int] = arguments.run
    out: Path | None = getattr(arguments, "out", None)
    if out is not None and out.exists() and not out.is_dir():
        print(f"{out}: is a file; give --out a folder, a new one or one in use", file=sys.stderr)
        return 1
    try:
        return run(arguments)
    except ArchSurveyError as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:
        raise
    except OSError as error:
        where = error.filename or "the disk"
        print(f"{where}: {error.strerror or error}; nothing was left half-written", file=sys.stderr)
    return 1


def _let_go_of_the_pipe() -> None:
    """Turn the output to nowhere, or what is still held back for it would be tried again at the very end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m survey",
        description="From a measured, damaged brick arch to its curve, its deviations and a rebuild plan.",
        epilog="A geometric record, not a structural design: the engineer, the local code and the heritage "
        "consent decide.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    new = commands.add_parser("new", help="write an empty record folder with the column headings filled in")
    new.add_argument("folder", type=Path, metavar="FOLDER")
    new.set_defaults(run=_new)

    check = commands.add_parser(
        "check", help="say what is wrong or doubtful in a record, and what to measure again"
    )
    check.add_argument("record", type=Path, metavar="RECORD")
    check.set_defaults(run=_check)

    stages: dict[str, tuple[str, Callable[[argparse.Namespace], int]]] = {
        "fit": ("find the curve the arch was set out to", _fit),
        "deviations": ("map the arch course by course against its curve", _deviations),
        "rebuild": ("plan the rebuild", _rebuild),
        "all": ("the whole job, sheets and report included", _all),
    }
    for name, (help_text, run) in stages.items():
        stage = commands.add_parser(name, help=help_text)
        stage.add_argument("record", type=Path, metavar="RECORD")
        _add_out(stage)
        if name in ("rebuild", "all"):
            _add_rebuild_choices(stage)
        stage.set_defaults(run=run)

    compare = commands.add_parser("compare", help="say what moved between two surveys of the same arch")
    compare.add_argument("record", type=Path, metavar="RECORD_A", help="the earlier survey")
    compare.add_argument("later", type=Path, metavar="RECORD_B", help="the later survey")
    _add_out(compare)
    compare.set_defaults(run=_compare)
    return parser


def _add_out(command: argparse.ArgumentParser) -> None:
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the result files")


def _add_rebuild_choices(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--scope",
        choices=("whole", "repair"),
        help="take the ring down and lay it anew, or keep standing courses and fill the gaps "
        "(default: repair when courses are missing, else whole)",
    )
    command.add_argument(
        "--curve",
        choices=CURVE_CHOICES,
        help="curve of a whole rebuild (default: present for an arch that has moved, else the fitted family)",
    )


def _new(arguments: argparse.Namespace) -> int:
    from survey.record import write_blank_record

    write_blank_record(arguments.folder)
    print(f"wrote an empty record folder: {arguments.folder}")
    print("fill in arch.toml and points.csv first, then run: python -m survey check", arguments.folder)
    return 0


def _check(arguments: argparse.Namespace) -> int:
    from survey.record import Status, check_record

    report = check_record(arguments.record)
    for line in lines_of(report.faults):
        print(line, file=sys.stderr)
    _tell_doubts(report.doubts)
    status: str = report.status
    can_be_fitted = not report.faults
    if report.record is not None:
        from survey.readiness import outlooks_of

        outlooks = outlooks_of(report.record)
        for outlook in outlooks:
            print(outlook)
        if not outlooks[0].possible:
            status, can_be_fitted = Status.TOO_LITTLE, False
        elif any(outlook.doubtful for outlook in outlooks):
            status = Status.DOUBTFUL
        elif status is Status.READY and not all(outlook.possible for outlook in outlooks):
            cannot = " and ".join(outlook.stage for outlook in outlooks if not outlook.possible)
            status = f"can be used, but not for {cannot}: the reason stands above"
    print(status)
    if status is Status.EMPTY:
        print("measure first: both springings, and both edges of every course on the intrados of ring 1")
    return 0 if can_be_fitted else 1


def _tell_doubts(doubts: Sequence[Fault], named: str = "") -> None:
    for line in lines_of(doubts, word="doubt"):
        print(f"{named}doubtful: {line}")


def _read_and_fit(folder: Path, survey: str = "") -> tuple[Record, ArchFit]:
    """Read and fit a record and print what was found, each line under the name of its survey if any."""
    from survey.fitting import fit_arch
    from survey.record import read_record

    named = f"{survey}: " if survey else ""
    record = read_record(folder)
    _tell_doubts(record.doubts, named)
    fit = fit_arch(record)
    print(f"{named}{fit.verdict.because}")
    if fit.movement is not None:
        print(f"{named}{fit.movement.because}")
    for sentence in (*fit.notes, *(count.doubt for count in fit.courses if count.doubt)):
        print(f"{named}{sentence}")
    return record, fit


def _options(arguments: argparse.Namespace) -> RebuildOptions:
    from survey.rebuild import CurveChoice, RebuildOptions, Scope

    curve: CurveChoice | Family | None = None
    if arguments.curve is not None:
        families = {str(family) for family in Family}
        curve = Family(arguments.curve) if arguments.curve in families else CurveChoice(arguments.curve)
    return RebuildOptions(scope=None if arguments.scope is None else Scope(arguments.scope), curve=curve)


def _tell_plan(plan: RebuildPlan) -> None:
    """Print what to do next, what the plan rests on, what it warns of, and its cautions, in this order."""
    from survey.rebuild.laying.laying import where_to_go_on

    go_on = where_to_go_on(plan.rings, plan.laying)
    for note in sorted(plan.notes, key=lambda note: note != go_on):
        print(note)
    for warning in plan.warnings:
        print(f"warning: {warning}")
    _tell_cautions(plan.cautions)


def _tell_cautions(cautions: Sequence[str]) -> None:
    """Print the first two in full and the heads of the others: at full length all would bury the warnings."""
    for caution in cautions[:2]:
        print(f"caution: {caution}")
    heads = " ".join(caution.partition(". ")[0].rstrip(".") + "." for caution in cautions[2:])
    print(f"caution: {heads} (In full on the sheets and in rebuild.json.)")


def _tell_danger(record: Record, fit: ArchFit, map_: DeviationMap | None = None) -> None:
    """Print what to heed under an arch that has moved or shows any other pattern of distress."""
    from survey.rebuild.cautions import ENGINEER, PROP_FIRST
    from survey.record.model import Condition

    loose = any(note.condition in (Condition.LOOSE, Condition.MISSING) for note in record.courses)
    distressed = map_ is not None and bool(map_.patterns)
    if fit.movement is not None or loose or distressed:
        print(f"caution: {PROP_FIRST}")
        print(f"caution: {ENGINEER.replace('This plan', 'This record', 1)}")


def _refused(plan: RebuildPlan) -> int:
    """Print last of all, where it is seen, why nothing may be built from a plan; the exit code."""
    sys.stdout.flush()
    for refusal in plan.refusals:
        print(f"no plan to build from: {refusal}", file=sys.stderr)
    return 1 if plan.refusals else 0


def _tell_written(paths: Sequence[Path], folder: Path) -> None:
    """Print where the files went in one line: those of the folder by name, the drawings by their folder."""
    tops = dict.fromkeys(path.relative_to(folder).parts[0] for path in paths)
    names = [f"{name}/" if (folder / name).is_dir() else name for name in tops]
    print(f"wrote {len(paths)} {'file' if len(paths) == 1 else 'files'} to {folder}: {', '.join(names)}")


def _fit(arguments: argparse.Namespace) -> int:
    record, fit = _read_and_fit(arguments.record)
    from survey.sheets.results.results import write_fit_results
    from survey.sheets.write import write_fit_sheets

    out = arguments.out
    written = [*write_fit_results(fit, out), *write_fit_sheets(record, fit, out)]
    _tell_danger(record, fit)
    _tell_written(written, out)
    return 0


def _deviations(arguments: argparse.Namespace) -> int:
    record, fit = _read_and_fit(arguments.record)
    from survey.condition import map_deviations
    from survey.sheets.results.results import write_deviation_results, write_fit_results
    from survey.sheets.write import write_deviation_sheets

    map_ = map_deviations(record, fit)
    out = arguments.out
    for pattern in map_.patterns:
        print(pattern.sentence)
    written = [
        *write_fit_results(fit, out),
        *write_deviation_results(map_, out),
        *write_deviation_sheets(record, fit, map_, out),
    ]
    _tell_danger(record, fit, map_)
    _tell_written(written, out)
    return 0


def _rebuild(arguments: argparse.Namespace) -> int:
    record, fit = _read_and_fit(arguments.record)
    from survey.rebuild import plan_rebuild
    from survey.sheets.results.results import write_fit_results, write_rebuild_results
    from survey.sheets.write import write_rebuild_sheets

    plan = plan_rebuild(record, fit, _options(arguments))
    out = arguments.out
    written = [
        *write_fit_results(fit, out),
        *write_rebuild_results(plan, out),
        *write_rebuild_sheets(record, fit, plan, out),
    ]
    _tell_plan(plan)
    _tell_written(written, out)
    return _refused(plan)


def _all(arguments: argparse.Namespace) -> int:
    from tqdm import tqdm

    out = arguments.out
    # A bar on a terminal, none in a pipe (disable=None), and none left behind.
    with tqdm(total=5, desc="reading and fitting", disable=None, leave=False) as bar:
        record, fit = _read_and_fit(arguments.record)
        from survey.condition import map_deviations
        from survey.rebuild import plan_rebuild
        from survey.sheets.results.results import (
            write_deviation_results,
            write_fit_results,
            write_rebuild_results,
        )
        from survey.sheets.write import write_sheets

        _advance(bar, "mapping deviations")
        map_ = map_deviations(record, fit)
        _advance(bar, "planning the rebuild")
        plan = plan_rebuild(record, fit, _options(arguments))
        _advance(bar, "writing results")
        written = [
            *write_fit_results(fit, out),
            *write_deviation_results(map_, out),
            *write_rebuild_results(plan, out),
        ]
        _advance(bar, "drawing sheets")
        written.extend(write_sheets(record, fit, map_, plan, out))
    for pattern in map_.patterns:
        print(pattern.sentence)
    _tell_plan(plan)
    _tell_written(written, out)
    return _refused(plan)


def _advance(bar: tqdm[NoReturn], next_stage: str) -> None:
    bar.update()
    bar.set_description(next_stage)


def _compare(arguments: argparse.Namespace) -> int:
    earlier, fit_earlier = _read_and_fit(arguments.record, "earlier")
    later, fit_later = _read_and_fit(arguments.later, "later")
    from survey.condition import compare_records
    from survey.sheets.results.results import write_comparison_results
    from survey.sheets.write import write_comparison_sheets

    comparison = compare_records(earlier, fit_earlier, later, fit_later)
    for sentence in comparison.sentences:
        print(sentence)
    out = arguments.out
    written = [
        *write_comparison_results(comparison, out),
        *write_comparison_sheets(earlier, later, comparison, out, fit_earlier=fit_earlier),
    ]
    _tell_danger(later, fit_later)
    _tell_written(written, out)
    return 0
