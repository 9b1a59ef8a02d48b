"""The survey: named points and tapes to coordinates in the car's axes, with what is wrong, weak or missing."""

from cabinwright.stages.survey.locate import has_names, locate, located, named_places
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.survey.run import run

__all__ = ["SurveyResult", "has_names", "locate", "located", "named_places", "run"]
