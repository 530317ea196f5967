"""Ways in: one-time invitations, and the record of who signed in and who was refused."""

from datetime import datetime

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub
from clubdata.models.clubs import Account, Member


class Invitation(ClubRecord):
    """A link that opens one login for one member, once. Only the digest of its key is kept."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="invitations")
    digest = models.CharField(max_length=64, unique=True)
    created_by = models.ForeignKey(Account, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            SameClub(field="member", name="invitation_same_club_member"),
            models.CheckConstraint(
                condition=Q(used_at__isnull=True) | Q(withdrawn_at__isnull=True),
                name="invitation_used_or_withdrawn",
            ),
        ]

    def opens_at(self, now: datetime) -> bool:
        return self.used_at is None and self.withdrawn_at is None and now < self.expires_at


class SignInOutcome(models.TextChoices):
    OPENED = "opened"
    REFUSED = "refused"
    TOO_MANY = "too_many", "too many attempts"


class SignIn(models.Model):
    """One attempt to sign in. Name and address are kept as keyed digests: enough to count, not to read."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE, null=True, related_name="sign_ins")
    name_digest = models.CharField(max_length=64)
    address_digest = models.CharField(max_length=64)
    outcome = models.CharField(max_length=8, choices=SignInOutcome.choices)
    device = models.CharField(max_length=80, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["name_digest", "-at"], name="sign_in_by_name"),
            models.Index(fields=["address_digest", "-at"], name="sign_in_by_address"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=SignInOutcome.values), name="sign_in_outcome_known"
            ),
        ]
