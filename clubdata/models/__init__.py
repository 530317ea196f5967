"""Every record of a club. Django finds models by this module, so it alone names its files' contents."""

from clubdata.models.access import Invitation, SignIn, SignInWay, StoredReply
from clubdata.models.amendments import (
    Amendment,
    AmendmentKind,
    AmendmentState,
    Doubt,
    DoubtDecision,
)
from clubdata.models.attendance import Attendance, AttendanceBook
from clubdata.models.clubs import AccessToken, Account, Club, Member, MemberRole, Role
from clubdata.models.jobs import Job, JobKind, JobState, StagedReturn
from clubdata.models.matches import Match
from clubdata.models.returns import (
    CatchLine,
    Conditions,
    Outcome,
    Return,
    SessionKind,
    SessionPart,
    Source,
    Standing,
)
from clubdata.models.tackle import (
    Feed,
    FeedSpelling,
    HookBait,
    HookBaitSpelling,
    Method,
    MethodSpelling,
    RigType,
    RigTypeSpelling,
    Species,
    SpeciesSpelling,
)
from clubdata.models.waters import Peg, PegDepth, PegHazard, Water, WaterEvent, WaterEventKind, WaterKind
from clubdata.models.weather import WeatherReading

__all__ = [
    "AccessToken",
    "Account",
    "Amendment",
    "AmendmentKind",
    "AmendmentState",
    "Attendance",
    "AttendanceBook",
    "CatchLine",
    "Club",
    "Conditions",
    "Doubt",
    "DoubtDecision",
    "Feed",
    "FeedSpelling",
    "HookBait",
    "HookBaitSpelling",
    "Invitation",
    "Job",
    "JobKind",
    "JobState",
    "Match",
    "Member",
    "MemberRole",
    "Method",
    "MethodSpelling",
    "Outcome",
    "Peg",
    "PegDepth",
    "PegHazard",
    "Return",
    "RigType",
    "RigTypeSpelling",
    "Role",
    "SessionKind",
    "SessionPart",
    "SignIn",
    "SignInWay",
    "Source",
    "Species",
    "SpeciesSpelling",
    "StagedReturn",
    "Standing",
    "StoredReply",
    "Water",
    "WaterEvent",
    "WaterEventKind",
    "WaterKind",
    "WeatherReading",
]
