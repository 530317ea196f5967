"""The book of members: lines shown and written, roles, invitations."""

from typing import Any

from rest_framework import serializers

from api.serializers.clubs import RolesField
from api.serializers.devices import LONGEST_DEVICE
from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.models import Member, Protection, Role
from clubdata.services.member_book import withheld_fields


class BookEntrySerializer(OutputSerializer):
    """A line of the club's book of members."""

    uid = serializers.UUIDField()
    number = serializers.CharField()
    name = serializers.CharField(allow_blank=True)
    roles = RolesField(source="*", read_only=True)
    joined_on = serializers.DateField(allow_null=True)
    left_on = serializers.DateField(allow_null=True)
    has_login = serializers.SerializerMethodField()

    def get_has_login(self, member: Member) -> bool:
        return member.account_id is not None


class MemberDetailSerializer(BookEntrySerializer):
    """A whole line. What is not the reader's to see is null: contacts and protection are the secretary's and
    the member's own; access needs also the organiser's, who sets out pegs."""

    contact = serializers.CharField(allow_null=True, allow_blank=True)
    protection = serializers.ChoiceField(choices=Protection.choices, allow_null=True, allow_blank=True)
    responsible_adult = serializers.CharField(allow_null=True, allow_blank=True)
    access_needs = serializers.CharField(allow_null=True, allow_blank=True)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = super().to_representation(instance)
        withheld = withheld_fields(self.context["who"], instance)
        return {name: None if name in withheld else value for name, value in shown.items()}


class NewMemberSerializer(StrictSerializer):
    """What is written down of a member."""

    number = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=120, allow_blank=True, required=False)
    joined_on = serializers.DateField(allow_null=True, required=False)
    contact = serializers.CharField(
        max_length=200, allow_blank=True, required=False, help_text="Where a reminder goes."
    )
    protection = serializers.ChoiceField(choices=Protection.choices, allow_blank=True, required=False)
    responsible_adult = serializers.CharField(
        max_length=200, allow_blank=True, required=False, help_text="Who, and how to reach them."
    )
    access_needs = serializers.CharField(
        max_length=400, allow_blank=True, required=False, help_text="Used for the pegs; never published."
    )


class MemberChangeSerializer(NewMemberSerializer):
    """What changes; whoever leaves has a day from which they see nothing more."""

    left_on = serializers.DateField(allow_null=True, required=False)


class RolesSerializer(StrictSerializer):
    """All the roles of a member."""

    roles = serializers.ListField(child=serializers.ChoiceField(choices=Role.choices), allow_empty=True)


class InvitationSerializer(OutputSerializer):
    """An invitation without its key."""

    uid = serializers.UUIDField()
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    used_at = serializers.DateTimeField(allow_null=True)
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class NewInvitationSerializer(InvitationSerializer):
    """An invitation with its key, shown this once."""

    key = serializers.CharField(help_text="Give it to the member: it opens one login, once.")


class AcceptSerializer(StrictSerializer):
    """The key of an invitation, and the login that it is to open."""

    key = serializers.CharField(max_length=200)
    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=256, trim_whitespace=False)
    device = serializers.CharField(max_length=LONGEST_DEVICE)


class JoinSerializer(StrictSerializer):
    """The key of an invitation, for a login that is signed in."""

    key = serializers.CharField(max_length=200)
