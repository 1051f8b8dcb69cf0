"""How numbers of courses, and runs of them, are said."""

from __future__ import annotations


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


def capital(words: str) -> str:
    """Words as they begin a sentence.

    Examples
    --------
    >>> capital("course 4 to 6")
    'Course 4 to 6'
    """
    return words[:1].upper() + words[1:]
