"""Who was there, by other books than the returns: the denominator of what is handed in."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub
from clubdata.models.clubs import Account, Member
from clubdata.models.matches import Match
from clubdata.models.waters import Water


class AttendanceBook(models.TextChoices):
    """The book that says so."""

    PERMIT = "permit", "day permit"
    BAILIFF = "bailiff", "bailiff's check"
    GATE_BOOK = "gate_book", "gate book"
    ENTRY = "entry", "match entry"


class Attendance(ClubRecord):
    """Somebody on a water on a day: a member, or so many whom the book does not name (`headcount`)."""

    book = models.CharField(max_length=9, choices=AttendanceBook.choices)
    water = models.ForeignKey(Water, on_delete=models.CASCADE, related_name="+")
    on = models.DateField()
    member = models.ForeignKey(Member, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    match = models.ForeignKey(Match, on_delete=models.CASCADE, null=True, blank=True, related_name="entries")
    headcount = models.PositiveSmallIntegerField(default=1)
    written_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["-on", "-id"]
        indexes = [models.Index(fields=["club", "on"], name="attendance_by_day")]
        constraints = [
            SameClub(field="water", name="attendance_same_club_water"),
            SameClub(field="member", name="attendance_same_club_member"),
            SameClub(field="match", name="attendance_same_club_match"),
            SameClub(field="match", shared="water", name="attendance_match_on_its_water"),
            models.CheckConstraint(condition=Q(book__in=AttendanceBook.values), name="attendance_book_known"),
            models.CheckConstraint(
                condition=Q(member__isnull=True) | Q(headcount=1), name="attendance_a_member_counts_once"
            ),
            models.CheckConstraint(
                condition=Q(headcount__gte=1, headcount__lte=1000), name="attendance_headcount_plausible"
            ),
            models.UniqueConstraint(
                fields=["club", "book", "water", "on", "member"],
                condition=Q(member__isnull=False),
                name="attendance_member_once_a_book_and_day",
            ),
        ]
