"""Signing in, and the record of attempts: one's own, and for the secretary the club's."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.addresses import address_of
from api.authentication import account_of
from api.pagination import Keyset, PageQuery
from api.serializers.devices import NewKeySerializer
from api.serializers.shapes import page_of
from api.serializers.sign_ins import AttemptSerializer, MemberAttemptSerializer, SignInSerializer
from api.views.base import ApiView, ClubView
from api.views.devices import new_key
from clubdata.services.sign_ins import AUDITS, Attempt, club_sign_ins, own_sign_ins, sign_in

NEWEST_FIRST = Keyset(("-at", "-id"))


class SignInView(ApiView):
    """The way in with a name and a password."""

    authentication_classes = []
    permission_classes = [AllowAny]

    @extend_schema(
        operation_id="sign_in", auth=[], request=SignInSerializer, responses={201: NewKeySerializer}
    )
    def post(self, request: Request) -> Response:
        """A key for this device. Unknown names and wrong passwords are refused alike, and counted."""
        serializer = SignInSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        said = serializer.validated_data
        attempt = Attempt(said["username"], address_of(request), said["device"], at=self.now)
        account = sign_in(attempt=attempt, password=said["password"])
        return new_key(account, said["device"], self)


class AttemptListView(ApiView):
    """Who tried to sign in in one's name."""

    query = {"GET": PageQuery}

    @extend_schema(operation_id="sign_ins_list", responses=page_of(AttemptSerializer, "AttemptPage"))
    def get(self, request: Request) -> Response:
        """Your own, the latest first: opened, refused, and slowed for too many."""
        rows = own_sign_ins(account_of(request))
        return self.page_response(request, rows, NEWEST_FIRST, AttemptSerializer)


class ClubAttemptListView(ClubView):
    """Who tried to sign in in a member's name."""

    roles = {"GET": (AUDITS, "look into the club's sign-ins")}
    query = {"GET": PageQuery}

    @extend_schema(
        operation_id="club_sign_ins_list", responses=page_of(MemberAttemptSerializer, "MemberAttemptPage")
    )
    def get(self, request: Request, **_: Any) -> Response:
        """Of the club's present members, by number, the latest first; without name, address or device."""
        return self.page_response(request, club_sign_ins(self.who), NEWEST_FIRST, MemberAttemptSerializer)
