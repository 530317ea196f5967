"""Answers to requests that may be sent again, kept under the key that the client made."""

from django.db import models

from clubdata.models.clubs import Account, Club


class StoredReply(models.Model):
    """The first answer to an Idempotency-Key of an account; `fingerprint` is of the request that got it."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="+")
    club = models.ForeignKey(Club, on_delete=models.CASCADE, null=True, related_name="+")
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    created_at = models.DateTimeField(db_index=True)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "stored replies"
        constraints = [
            models.UniqueConstraint(fields=["account", "key"], name="stored_reply_once_a_key"),
        ]
