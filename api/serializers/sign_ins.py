"""Signing in, and attempts to."""

from rest_framework import serializers

from api.serializers.devices import LONGEST_DEVICE
from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.models import SignInOutcome


class SignInSerializer(StrictSerializer):
    """A login's name and password, and what the device is to be called."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=256, trim_whitespace=False)
    device = serializers.CharField(max_length=LONGEST_DEVICE, help_text="So that you know it again later.")


class AttemptSerializer(OutputSerializer):
    """An attempt to sign in in your name."""

    at = serializers.DateTimeField()
    device = serializers.CharField(allow_blank=True)
    outcome = serializers.ChoiceField(choices=SignInOutcome.choices)


class MemberAttemptSerializer(OutputSerializer):
    """An attempt to sign in in a member's name."""

    at = serializers.DateTimeField()
    member = serializers.CharField(source="number", help_text="The number in the club's book.")
    outcome = serializers.ChoiceField(choices=SignInOutcome.choices)
