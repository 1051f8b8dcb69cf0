"""Course by course: deviations, joints, missing courses, patterns of distress, and movement made visible."""

from survey.condition.comparing.compare import Comparison, compare_records
from survey.condition.comparing.movement import CourseMovement
from survey.condition.comparing.tie import SurveyTie, Tie
from survey.condition.deviations import map_deviations
from survey.condition.kinematics import ThreeHinges
from survey.condition.movement_view import (
    HingeView,
    MovementResiduals,
    MovementView,
    PieceOutline,
    movement_residuals,
    view_movement,
)
from survey.condition.result import CourseDeviation, DeviationMap, Pattern, WorstCourse

__all__ = [
    "Comparison",
    "CourseDeviation",
    "CourseMovement",
    "DeviationMap",
    "HingeView",
    "MovementResiduals",
    "MovementView",
    "Pattern",
    "PieceOutline",
    "SurveyTie",
    "ThreeHinges",
    "Tie",
    "WorstCourse",
    "compare_records",
    "map_deviations",
    "movement_residuals",
    "view_movement",
]
