from jobs.models.expected import BandPoint, ExpectedDates
from jobs.models.job import BEFORE_FILL, Finish, Job, JobState, StartUp
from jobs.models.learning import LearningReset, Measured, Outcome
from jobs.models.photo import Photo
from jobs.models.site import Pool, PoolOwner, Shape, Site
from jobs.models.site_log import Addition, LogKind, SiteLog, WaterTest
from jobs.models.survey import Observation, Scope, Survey
from jobs.models.weather_cell import CELL_DEG, ForecastKept, WeatherCell, WeatherHours
from jobs.models.weather_file import WeatherFile

__all__ = [
    "BEFORE_FILL",
    "CELL_DEG",
    "Addition",
    "BandPoint",
    "ExpectedDates",
    "Finish",
    "ForecastKept",
    "Job",
    "JobState",
    "LearningReset",
    "LogKind",
    "Measured",
    "Observation",
    "Outcome",
    "Photo",
    "Pool",
    "PoolOwner",
    "Scope",
    "Shape",
    "Site",
    "SiteLog",
    "StartUp",
    "Survey",
    "WaterTest",
    "WeatherCell",
    "WeatherFile",
    "WeatherHours",
]
