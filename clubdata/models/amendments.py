"""What became of a return after it was handed in: every change is a row of its own."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub
from clubdata.models.clubs import Account
from clubdata.models.returns import Return


class AmendmentKind(models.TextChoices):
    CHANGE = "change"
    REMOVAL = "removal"
    RESTORATION = "restoration"


class AmendmentState(models.TextChoices):
    """Awaiting means that a second person must agree before anything changes."""

    MADE = "made"
    AWAITING = "awaiting"
    DECLINED = "declined"


class Amendment(ClubRecord):
    """One change of a return: who, when, from what, to what, and why; kept for good.

    `changes` is a list of `{"field", "from", "to"}`; `wanted` is what an awaiting one will make of the
    return, empty once it is settled. `settled_by` is the second person, where one was needed.
    """

    session = models.ForeignKey(Return, on_delete=models.CASCADE, related_name="amendments")
    kind = models.CharField(max_length=11, choices=AmendmentKind.choices)
    state = models.CharField(max_length=8, choices=AmendmentState.choices)
    reason = models.CharField(max_length=400)
    changes = models.JSONField(default=list)
    wanted = models.JSONField(null=True, blank=True)
    version_before = models.PositiveIntegerField()
    asked_by = models.ForeignKey(Account, on_delete=models.SET_NULL, null=True, related_name="+")
    asked_at = models.DateTimeField()
    settled_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["session", "id"]
        constraints = [
            SameClub(field="session", name="amendment_same_club_session"),
            models.CheckConstraint(condition=Q(kind__in=AmendmentKind.values), name="amendment_kind_known"),
            models.CheckConstraint(
                condition=Q(state__in=AmendmentState.values), name="amendment_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state=AmendmentState.AWAITING) | Q(settled_at__isnull=True),
                name="amendment_awaiting_is_not_settled",
            ),
            models.UniqueConstraint(
                fields=["session"],
                condition=Q(state=AmendmentState.AWAITING),
                name="amendment_one_awaiting_a_return",
            ),
        ]
