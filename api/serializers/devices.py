"""Devices that are signed in, and signing in."""

from rest_framework import serializers

from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.models import SignInOutcome

LONGEST_DEVICE = 80


class SignInSerializer(StrictSerializer):
    """A login's name and password, and what the device is to be called."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=256, trim_whitespace=False)
    device = serializers.CharField(max_length=LONGEST_DEVICE, help_text="So that you know it again later.")


class NewDeviceSerializer(StrictSerializer):
    """What the device is to be called."""

    device = serializers.CharField(max_length=LONGEST_DEVICE, help_text="So that you know it again later.")


class DeviceSerializer(OutputSerializer):
    """A device's key, without the key."""

    uid = serializers.UUIDField()
    device = serializers.CharField()
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    revoked_at = serializers.DateTimeField(allow_null=True)


class NewKeySerializer(DeviceSerializer):
    """A device's key, shown this once."""

    key = serializers.CharField(help_text="Send it as 'Authorization: Bearer …'. It is shown this once.")


class AttemptSerializer(OutputSerializer):
    """An attempt to sign in in your name."""

    at = serializers.DateTimeField()
    device = serializers.CharField(allow_blank=True)
    outcome = serializers.ChoiceField(choices=SignInOutcome.choices)
