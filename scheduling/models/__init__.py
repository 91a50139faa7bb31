from scheduling.models.calendar_entry import FILL, CalendarEntry
from scheduling.models.crew import Absence, Crew, Shift, Skill
from scheduling.models.phone_entry import Outcome, PhoneEntry
from scheduling.models.plan import Plan, PlanRun, PlanState, RunState, Stage, Stint, StintState

__all__ = [
    "FILL",
    "Absence",
    "CalendarEntry",
    "Crew",
    "Outcome",
    "PhoneEntry",
    "Plan",
    "PlanRun",
    "PlanState",
    "RunState",
    "Shift",
    "Skill",
    "Stage",
    "Stint",
    "StintState",
]
