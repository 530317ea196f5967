"""The actor and its clubs."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import account_of
from api.pagination import Keyset, PageQuery
from api.serializers.clubs import ClubSerializer, MeSerializer
from api.serializers.shapes import page_of
from api.views.base import ApiView, ClubView
from clubdata.models import Club
from clubdata.services.members import current_memberships


class MeView(ApiView):
    """Who is signed in."""

    @extend_schema(operation_id="me", responses=MeSerializer)
    def get(self, request: Request) -> Response:
        """The account, its current memberships and the roles in each."""
        me = account_of(request)
        memberships = current_memberships(me)
        return Response(MeSerializer({"username": me.username, "memberships": memberships}).data)


class ClubListView(ApiView):
    """The actor's clubs."""

    query = {"GET": PageQuery}
    order = Keyset(("slug",))

    @extend_schema(operation_id="clubs_list", responses=page_of(ClubSerializer, "ClubPage"))
    def get(self, request: Request) -> Response:
        """The clubs in which you are a member today."""
        clubs = Club.objects.visible_to(request.user)
        return self.page_response(request, clubs, self.order, ClubSerializer)


class ClubDetailView(ClubView):
    """One club."""

    @extend_schema(operation_id="clubs_read", responses=ClubSerializer)
    def get(self, _request: Request, **_: Any) -> Response:
        """The club."""
        return Response(ClubSerializer(self.who.club).data)
