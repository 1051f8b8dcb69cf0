"""What a refusal says: by how much, and cures that do cure."""

from __future__ import annotations

import re

import pytest
from rebuild.factory import fit, record, ring

from survey.curves import curve_of, segmental
from survey.rebuild import RebuildOptions, RebuildPlan, plan_rebuild
from survey.rebuild.refusals import Misfit, course_list, explain
from survey.record.model import JointLimits

SHAPE = segmental(2400.0, 400.0)
LENGTH = curve_of(SHAPE).length_mm


def plan(
    n: int, *, width: float = 50.0, limits: JointLimits, options: RebuildOptions | None = None
) -> RebuildPlan:
    rec = record((ring(1, n, brick_width_mm=width),), joints=limits)
    return plan_rebuild(rec, fit(SHAPE, rec), options)


@pytest.mark.parametrize(
    ("n", "low", "high"), [(47, 6.0, 12.0), (38, 4.0, 12.0), (43, 12.0, 14.0), (43, 4.0, 9.0)]
)
def test_every_cure_named_cures(n: int, low: float, high: float) -> None:
    limits = JointLimits(low, high, 80.0)
    refused = plan(n, limits=limits)
    (text,) = refused.refusals
    counts = [int(c) for c in re.findall(r"(\d+) bricks \(joints", text)]
    assert counts
    for count in counts:
        assert not plan(count, limits=limits).refusals
    if len(counts) == 2 or "keeps" in text:
        assert (counts[-1] - n) % 2 == 0
    word = re.search(r"bricks ([\d.]+) mm (narrower|wider) on average", text)
    change = float(word[1]) * (-1 if word[2] == "narrower" else 1)
    assert not plan(n, width=50.0 + change, limits=limits).refusals
    limit = float(re.search(r"joint set to ([\d.]+) mm", text)[1])
    freed = JointLimits(min(low, limit), max(high, limit), 80.0)
    assert not plan(n, limits=freed).refusals
    missing = float(re.search(r"so ([\d.]+) mm are", text)[1])
    joint = (LENGTH - n * 50.0) / (n + 1)
    bound = low if joint < low else high
    assert missing == pytest.approx(abs(bound - joint) * (n + 1), abs=0.05)


def test_limits_too_close_for_any_count_name_no_count() -> None:
    text = explain(Misfit("Ring 1", 3, 300.0, 380.0, 4, 5.0, 6.0, 100.0))
    assert "bricks (joints" not in text
    assert "wider on average" in text
    assert "the greatest joint set to 20.0 mm" in text


def test_a_turned_ring_is_refused_by_the_limits_of_arch_toml() -> None:
    """Along the arch a least joint of 3 mm turned by 45 degrees takes 4.2 mm."""
    text = explain(Misfit("Ring 2", 2, 282.8, 293.8, 3, 3.0 * 2**0.5, 25.5, 141.4, across=0.5**0.5))
    assert "the least is 4.2 mm along the arch (3.0 mm across), so " in text
    assert "across)" not in explain(Misfit("Ring 1", 3, 300.0, 380.0, 4, 5.0, 6.0, 100.0))


def test_bricks_longer_than_the_curve_get_no_joint_as_a_cure() -> None:
    text = explain(Misfit("Ring 1", 10, 1050.0, 1000.0, 11, 4.0, 12.0, 105.0))
    assert "joint set to" not in text
    assert "9 bricks (joints of 5.5 mm" in text


@pytest.mark.parametrize(
    ("courses", "words"),
    [([1], "1"), ([2, 1], "1, 2"), ([1, 2, 3], "1 to 3"), ([1, 3, 4, 5, 9, 10], "1, 3 to 5, 9, 10")],
)
def test_course_lists(courses: list[int], words: str) -> None:
    assert course_list(courses) == words


def test_one_brick_and_one_joint_are_said_as_one() -> None:
    told = explain(Misfit("Ring 1, course 7", 1, 50.0, 53.0, 2, 4.0, 18.0, 50.0))
    assert told.startswith("Ring 1, course 7: 1 brick of 50.0 mm on 53.0 mm of curve leaves 2 joints of 1.5")
    told = explain(Misfit("Ring 1", 2, 100.0, 106.0, 3, 4.0, 60.0, 50.0))
    assert "or 1 brick (joints of 28.0 mm; changes odd or even)" in told.replace("with 1", "or 1")
