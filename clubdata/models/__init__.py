"""Every record of a club. Django finds models by this module, so it alone names its files' contents."""

from clubdata.models.amendments import Amendment, AmendmentKind, AmendmentState
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

__all__ = [
    "AccessToken",
    "Account",
    "Amendment",
    "AmendmentKind",
    "AmendmentState",
    "CatchLine",
    "Club",
    "Conditions",
    "Feed",
    "FeedSpelling",
    "HookBait",
    "HookBaitSpelling",
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
    "Source",
    "Species",
    "SpeciesSpelling",
    "StagedReturn",
    "Water",
    "WaterEvent",
    "WaterEventKind",
    "WaterKind",
]
