"""What was computed, how a month was judged, and long work; a module for each."""

from dosing.models.forecasts import ChangeForecast
from dosing.models.jobs import Job
from dosing.models.numbers import NumbersQuerySet, PatientMonth, RecordNumbers
from dosing.models.reviews import MonthlyReview, PlanItem, ReviewAddendum, ReviewRange, ReviewRelease

__all__ = [
    "ChangeForecast",
    "Job",
    "MonthlyReview",
    "NumbersQuerySet",
    "PatientMonth",
    "PlanItem",
    "RecordNumbers",
    "ReviewAddendum",
    "ReviewRange",
    "ReviewRelease",
]
