"""Every record of a club. Django finds models by this module, so it alone names its files' contents."""

from clubdata.models.amendments import Amendment, AmendmentKind, AmendmentState
from clubdata.models.attendance import Attendance, AttendanceSource
from clubdata.models.clubs import AccessToken, Account, Club, Member, MemberRole, Protection, Role
from clubdata.models.doubts import Doubt, DoubtState
from clubdata.models.jobs import Job, JobKind, JobState, StagedReturn
from clubdata.models.matches import Match
from clubdata.models.replies import StoredReply
from clubdata.models.returns import (
    CatchLine,
    Conditions,
    Outcome,
    Return,
    SessionKind,
    SessionPart,
    Source,
)
from clubdata.models.rule_book import ClubRule
from clubdata.models.sign_ins import Invitation, SignIn, SignInOutcome
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
    "AttendanceSource",
    "CatchLine",
    "Club",
    "ClubRule",
    "Conditions",
    "Doubt",
    "DoubtState",
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
    "Protection",
    "Return",
    "RigType",
    "RigTypeSpelling",
    "Role",
    "SessionKind",
    "SessionPart",
    "SignIn",
    "SignInOutcome",
    "Source",
    "Species",
    "SpeciesSpelling",
    "StagedReturn",
    "StoredReply",
    "Water",
    "WaterEvent",
    "WaterEventKind",
    "WaterKind",
    "WeatherReading",
]
