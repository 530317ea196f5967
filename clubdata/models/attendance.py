"""Who was seen to fish, whatever was handed in: what returns are counted against."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub
from clubdata.models.clubs import Account, Member
from clubdata.models.matches import Match
from clubdata.models.waters import Water


class AttendanceSource(models.TextChoices):
    """Where the knowledge comes from."""

    PERMIT = "permit"
    BAILIFF = "bailiff", "bailiff's check"
    GATE_BOOK = "gate_book", "gate book"
    ENTRY = "entry", "match entry"


class Attendance(ClubRecord):
    """A member at a water on a day, as a permit, a bailiff, the gate book or a match's entries have it."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="attendances")
    water = models.ForeignKey(Water, on_delete=models.PROTECT, related_name="+")
    fished_on = models.DateField()
    match = models.ForeignKey(Match, on_delete=models.PROTECT, null=True, blank=True, related_name="entries")
    source = models.CharField(max_length=9, choices=AttendanceSource.choices)
    noted_by = models.ForeignKey(Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    noted_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "attendance"
        ordering = ["-fished_on", "-id"]
        indexes = [models.Index(fields=["club", "-fished_on"], name="attendance_by_day")]
        constraints = [
            SameClub(field="member", name="attendance_same_club_member"),
            SameClub(field="water", name="attendance_same_club_water"),
            SameClub(field="match", name="attendance_same_club_match"),
            SameClub(field="match", name="attendance_match_on_its_water", shared="water"),
            models.CheckConstraint(
                condition=Q(source__in=AttendanceSource.values), name="attendance_source_known"
            ),
            models.UniqueConstraint(
                fields=["member", "water", "fished_on", "source"], name="attendance_once_a_source"
            ),
        ]
