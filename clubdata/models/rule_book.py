"""Rules of the trade as a club words them: the standard book holds wherever it says nothing of its own."""

from django.db import models

from clubdata.models.base import ClubRecord
from clubdata.models.clubs import Account


class ClubRule(ClubRecord):
    """A rule by its name: the club's own record (`clubdata.rules.trade.plain`), or that it is left out."""

    name = models.CharField(max_length=60)
    record = models.JSONField(null=True)
    edited_by = models.ForeignKey(Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    edited_at = models.DateTimeField()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["club", "name"], name="club_rule_once_a_name"),
        ]

    def __str__(self) -> str:
        return self.name
