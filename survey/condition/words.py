"""How numbers of courses, and runs of them, are said."""

from __future__ import annotations

from collections.abc import Sequence


def n_courses(number: int) -> str:
    """A number of courses.

    Examples
    --------
    >>> n_courses(1), n_courses(3)
    ('1 course', '3 courses')
    """
    return f"{number} {'course' if number == 1 else 'courses'}"


def course_run(first: int, last: int) -> str:
    """Which courses a run has.

    Examples
    --------
    >>> course_run(4, 4), course_run(4, 6)
    ('course 4', 'courses 4 to 6')
    """
    return f"course {first}" if first == last else f"courses {first} to {last}"


def course_list(courses: Sequence[int]) -> str:
    """Which courses there are, in their order, those in a row told by the first and the last.

    Examples
    --------
    >>> course_list([4]), course_list([4, 5, 6]), course_list([14, 16, 17, 18])
    ('course 4', 'courses 4 to 6', 'courses 14 and 16 to 18')
    >>> course_list([1, 3, 5, 6])
    'courses 1, 3 and 5 to 6'
    """
    starts = [k for k, c in enumerate(courses) if k == 0 or c != courses[k - 1] + 1]
    rows = [courses[a:b] for a, b in zip(starts, [*starts[1:], len(courses)], strict=True)]
    told = [str(row[0]) if len(row) == 1 else f"{row[0]} to {row[-1]}" for row in rows]
    listed = f"{', '.join(told[:-1])} and {told[-1]}" if len(told) > 1 else told[0]
    return f"{'course' if len(courses) == 1 else 'courses'} {listed}"


def capital(words: str) -> str:
    """Words as they begin a sentence.

    Examples
    --------
    >>> capital("course 4 to 6")
    'Course 4 to 6'
    """
    return words[:1].upper() + words[1:]
