"""Course by course: deviations, joints, missing courses, patterns of distress, and movement made visible."""

from survey.condition.deviations import map_deviations
from survey.condition.result import CourseDeviation, DeviationMap, Pattern, WorstCourse

__all__ = ["CourseDeviation", "DeviationMap", "Pattern", "WorstCourse", "map_deviations"]
