"""Access: invitations to a login, replies kept for a request sent twice, and who signed in."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, Identified, SameClub
from clubdata.models.clubs import Account, Club, Member


class Invitation(ClubRecord):
    """A one-time link by which a member opens a login. Only the SHA-256 of its key is kept."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="invitations")
    digest = models.CharField(max_length=64, unique=True)
    created_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [SameClub(field="member", name="invitation_same_club_member")]


class StoredReply(models.Model):
    """The reply to a creating request under its Idempotency-Key; in flight until it has a status.

    `request_digest` is the SHA-256 of method, path and body: the same key with another is refused.
    """

    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="+")
    club = models.ForeignKey(Club, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    key = models.CharField(max_length=255)
    request_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    headers = models.JSONField(default=dict, blank=True)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)

    class Meta:
        verbose_name_plural = "stored replies"
        constraints = [
            models.UniqueConstraint(fields=["account", "key"], name="stored_reply_key_once_an_account")
        ]


class SignInWay(models.TextChoices):
    PASSWORD = "password"  # noqa: S105 - a way, not a password
    INVITATION = "invitation"
    KEY = "key", "device key"


class SignIn(Identified):
    """A try to sign in: when, how, from which network, and whether it went through.

    The network is the address without its last part (/24, or /48 of IPv6). A try on a name that no
    account has keeps no name.
    """

    account = models.ForeignKey(
        Account, on_delete=models.CASCADE, null=True, blank=True, related_name="sign_ins"
    )
    at = models.DateTimeField(db_index=True)
    way = models.CharField(max_length=10, choices=SignInWay.choices)
    succeeded = models.BooleanField()
    network = models.CharField(max_length=45, blank=True)
    device = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(way__in=SignInWay.values), name="sign_in_way_known")
        ]
