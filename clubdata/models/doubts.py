"""Figures that somebody should look at before they are used."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub, unique_within_club
from clubdata.models.clubs import Account
from clubdata.models.returns import Return


class DoubtState(models.TextChoices):
    """While a doubt waits or is held for query, its return is in no fit."""

    WAITING = "waiting"
    TAKEN = "taken", "taken as it stands"
    CORRECTED = "corrected"
    HELD = "held", "held for query"


OPEN = (DoubtState.WAITING, DoubtState.HELD)


class Doubt(ClubRecord):
    """One figure of one version of a return to check: which, why, and what came of it.

    `code` names the rule that asks, `facts` are its numbers with their units in their names.
    """

    session = models.ForeignKey(Return, on_delete=models.CASCADE, related_name="doubts")
    version = models.PositiveIntegerField()
    code = models.CharField(max_length=40)
    field = models.CharField(max_length=60, blank=True)
    sentence = models.CharField(max_length=400)
    facts = models.JSONField(default=dict)
    state = models.CharField(max_length=9, choices=DoubtState.choices, default=DoubtState.WAITING)
    raised_at = models.DateTimeField()
    settled_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["club", "state", "-id"], name="doubt_by_state")]
        constraints = [
            unique_within_club("doubt"),
            SameClub(field="session", name="doubt_same_club_session"),
            models.CheckConstraint(condition=Q(state__in=DoubtState.values), name="doubt_state_known"),
            models.CheckConstraint(
                condition=~Q(state=DoubtState.WAITING) | Q(settled_at__isnull=True),
                name="doubt_waiting_is_not_settled",
            ),
            models.UniqueConstraint(
                fields=["session", "code", "field"],
                condition=Q(state__in=OPEN),
                name="doubt_one_open_a_rule_and_field",
            ),
        ]

    def __str__(self) -> str:
        return self.code
