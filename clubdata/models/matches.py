"""Matches: a club's code for a day on a water."""

from django.db import models

from clubdata.models.base import ClubRecord, SameClub, unique_within_club
from clubdata.models.clubs import Account
from clubdata.models.waters import Water


class Match(ClubRecord):
    """A match, on one water on one day, under the code that the club gave it."""

    code = models.CharField(max_length=40)
    water = models.ForeignKey(Water, on_delete=models.PROTECT, related_name="matches")
    held_on = models.DateField()
    title = models.CharField(max_length=120, blank=True)
    final_at = models.DateTimeField(null=True, blank=True, help_text="When the result was declared final.")
    final_by = models.ForeignKey(Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        verbose_name_plural = "matches"
        ordering = ["-held_on", "-id"]
        constraints = [
            unique_within_club("match"),
            SameClub(field="water", name="match_same_club_water"),
            # A target of the composite keys of a return: its match is held on its water.
            models.UniqueConstraint(fields=["water", "id"], name="match_water_id_key"),
            models.UniqueConstraint(fields=["club", "code"], name="match_code_once_a_club"),
        ]

    def __str__(self) -> str:
        return self.code
