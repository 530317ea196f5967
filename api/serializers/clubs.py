"""Clubs and one's own place in them."""

from typing import Any

from rest_framework import serializers

from api.serializers.shapes import MemberSerializer, OutputSerializer
from clubdata.models import Role


class ClubSerializer(OutputSerializer):
    """A club of the actor's; `revision` grows with every change of a return."""

    uid = serializers.UUIDField()
    slug = serializers.SlugField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    revision = serializers.IntegerField()


class RolesField(serializers.ListField):
    """The roles that a member holds, sorted."""

    child = serializers.ChoiceField(choices=Role.choices)

    def to_representation(self, data: Any) -> list[str]:
        return sorted(held.role for held in data.roles.all())


class MembershipSerializer(OutputSerializer):
    """The actor in one of its clubs."""

    club = ClubSerializer()
    member = MemberSerializer(source="*")
    roles = RolesField(source="*", read_only=True)


class MeSerializer(OutputSerializer):
    """Who is signed in, and where that account is a member today."""

    username = serializers.CharField()
    memberships = MembershipSerializer(many=True)
