from scheduling.models.calendar_entry import FILL, OWNER, CalendarEntry
from scheduling.models.crew import Absence, Crew, Shift, Skill
from scheduling.models.hook import Hook, HookCall, HookEvent
from scheduling.models.notice import (
    Mail,
    Notice,
    NoticeKind,
    NoticeState,
    NoticeText,
    NoticeWatch,
    Receiver,
    ReceiverKind,
)
from scheduling.models.phone_entry import Outcome, PhoneEntry
from scheduling.models.plan import Plan, PlanRun, PlanState, RunState, Stage, Stint, StintState

__all__ = [
    "FILL",
    "OWNER",
    "Absence",
    "CalendarEntry",
    "Crew",
    "Hook",
    "HookCall",
    "HookEvent",
    "Mail",
    "Notice",
    "NoticeKind",
    "NoticeState",
    "NoticeText",
    "NoticeWatch",
    "Outcome",
    "PhoneEntry",
    "Plan",
    "PlanRun",
    "PlanState",
    "Receiver",
    "ReceiverKind",
    "RunState",
    "Shift",
    "Skill",
    "Stage",
    "Stint",
    "StintState",
]
