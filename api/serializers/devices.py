"""Devices that are signed in."""

from rest_framework import serializers

from api.serializers.shapes import OutputSerializer, StrictSerializer

LONGEST_DEVICE = 80


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
