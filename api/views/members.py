"""The club's book of members: read, written in, and invitations to it."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import account_of
from api.pagination import Keyset, PageQuery
from api.preconditions import state_to_change
from api.serializers.clubs import MembershipSerializer
from api.serializers.devices import NewKeySerializer
from api.serializers.members import (
    AcceptSerializer,
    BookEntrySerializer,
    InvitationSerializer,
    JoinSerializer,
    MemberChangeSerializer,
    MemberDetailSerializer,
    NewInvitationSerializer,
    NewMemberSerializer,
    RolesSerializer,
)
from api.serializers.shapes import page_of
from api.views.base import ApiView, ClubView
from api.views.devices import new_key
from clubdata.models import Member, Role
from clubdata.services.invitations import accept, invitations_to, invite, join, withdraw
from clubdata.services.member_book import (
    KEEPS_THE_BOOK,
    add_member,
    change_member,
    find_member,
    set_roles,
    state_of,
)
from clubdata.services.members import current_memberships, visible_members

IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the line as it was read. Else 428; 412 when it has changed since.",
)


class MemberView(ClubView):
    """What shows one line of the book."""

    def shown(self, member: Member, *, created: bool = False) -> Response:
        data = MemberDetailSerializer(member, context={"who": self.who}).data
        return Response(
            data,
            status=status.HTTP_201_CREATED if created else status.HTTP_200_OK,
            headers={"ETag": f'"{state_of(member)}"', "Cache-Control": "private, no-cache"},
        )


class MemberListView(MemberView):
    """The club's book of members."""

    query = {"GET": PageQuery}
    roles = {"POST": (KEEPS_THE_BOOK, "add a member")}
    order = Keyset(("number", "uid"))

    @extend_schema(operation_id="members_list", responses=page_of(BookEntrySerializer, "MemberPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """Organiser and secretary read the whole book, everyone else their own line: names are personal."""
        return self.page_response(request, visible_members(self.who), self.order, BookEntrySerializer)

    @extend_schema(
        operation_id="members_add", request=NewMemberSerializer, responses={201: MemberDetailSerializer}
    )
    def post(self, request: Request, **_: Any) -> Response:
        """Write a new member down. A login comes by an invitation."""
        serializer = NewMemberSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        return self.shown(add_member(who=self.who, given=serializer.validated_data), created=True)


class MemberDetailView(MemberView):
    """One line of the book."""

    roles = {"PATCH": (KEEPS_THE_BOOK, "change the book of members")}

    @extend_schema(operation_id="members_read", responses=MemberDetailSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Your own; for organiser and secretary anybody's, as far as it is theirs to see."""
        return self.shown(find_member(self.who, uid))

    @extend_schema(
        operation_id="members_change",
        parameters=[IF_MATCH],
        request=MemberChangeSerializer,
        responses=MemberDetailSerializer,
    )
    def patch(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Change a line; from the day in `left_on` the member sees nothing more."""
        seen = state_to_change(request)
        serializer = MemberChangeSerializer(data=request.data, partial=True)
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        return self.shown(change_member(who=self.who, uid=uid, seen=seen, given=given))


class RolesView(MemberView):
    """The roles of a member."""

    roles = {"PUT": (KEEPS_THE_BOOK, "give and take roles")}

    @extend_schema(
        operation_id="members_set_roles",
        parameters=[IF_MATCH],
        request=RolesSerializer,
        responses=MemberDetailSerializer,
    )
    def put(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """All the roles of a member at once. A club keeps one secretary at least."""
        seen = state_to_change(request)
        serializer = RolesSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        roles = frozenset(Role(role) for role in serializer.validated_data["roles"])
        return self.shown(set_roles(who=self.who, uid=uid, seen=seen, roles=roles))


class InvitationListView(ClubView):
    """A member's invitations. The answer to a new one holds its key, so no reply is kept."""

    keeps_replies = False
    query = {"GET": PageQuery}
    roles = {
        "GET": (KEEPS_THE_BOOK, "look into invitations"),
        "POST": (KEEPS_THE_BOOK, "invite a member"),
    }
    order = Keyset(("-created_at", "-uid"))

    @extend_schema(operation_id="invitations_list", responses=page_of(InvitationSerializer, "InvitationPage"))
    def get(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """The latest first, without their keys."""
        rows = invitations_to(who=self.who, member_uid=uid)
        return self.page_response(request, rows, self.order, InvitationSerializer)

    @extend_schema(operation_id="invitations_make", request=None, responses={201: NewInvitationSerializer})
    def post(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """A key that opens one login for this member, once, within a week; an earlier one opens no more."""
        made, key = invite(who=self.who, member_uid=uid, now=self.now)
        return Response(
            {**InvitationSerializer(made).data, "key": key},
            status=status.HTTP_201_CREATED,
            headers={"Cache-Control": "no-store"},
        )


class InvitationView(ClubView):
    """One invitation."""

    roles = {"DELETE": (KEEPS_THE_BOOK, "withdraw an invitation")}

    @extend_schema(operation_id="invitations_withdraw", request=None, responses={204: None})
    def delete(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Its key opens nothing from now on."""
        withdraw(who=self.who, uid=uid, now=self.now)
        return Response(status=status.HTTP_204_NO_CONTENT)


class AcceptView(ApiView):
    """The way in of whoever was invited."""

    authentication_classes = []
    permission_classes = [AllowAny]

    @extend_schema(
        operation_id="invitations_accept",
        auth=[],
        request=AcceptSerializer,
        responses={201: NewKeySerializer},
    )
    def post(self, request: Request) -> Response:
        """Open the login, and get a key for this device. Unknown, used and expired invitations read alike."""
        serializer = AcceptSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        said = dict(serializer.validated_data)
        device = said.pop("device")
        return new_key(accept(**said, now=self.now), device, self)


class JoinView(ApiView):
    """The way into another club with the login that one has."""

    @extend_schema(operation_id="invitations_join", request=JoinSerializer, responses=MembershipSerializer)
    def post(self, request: Request) -> Response:
        """Become the invited member with the login that is signed in."""
        serializer = JoinSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        account = account_of(request)
        joined = join(account=account, key=serializer.validated_data["key"], now=self.now)
        return Response(MembershipSerializer(current_memberships(account).get(pk=joined.pk)).data)
