"""The devices that are signed in to one's account."""

import uuid
from datetime import timedelta
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import account_of
from api.pagination import Keyset, PageQuery
from api.serializers.devices import DeviceSerializer, NewDeviceSerializer, NewKeySerializer
from api.serializers.shapes import page_of
from api.views.base import ApiView
from clubdata.models import AccessToken, Account
from clubdata.services.accounts import issue_token, own_tokens, revoke_own_token

KEY_LIFETIME = timedelta(days=180)


def new_key(account: Account, device: str, view: ApiView) -> Response:
    """201 with a key for the device: in this answer and nowhere else."""
    token, key = issue_token(account=account, device=device, now=view.now, lifetime=KEY_LIFETIME)
    shown = {**DeviceSerializer(token).data, "key": key}
    return Response(shown, status=status.HTTP_201_CREATED, headers={"Cache-Control": "no-store"})


class DeviceListView(ApiView):
    """The devices that are signed in to one's account."""

    query = {"GET": PageQuery}
    order = Keyset(("-created_at", "-uid"))

    @extend_schema(operation_id="devices_list", responses=page_of(DeviceSerializer, "DevicePage"))
    def get(self, request: Request) -> Response:
        """Your own, the latest first; closed ones too, until they are forgotten."""
        rows = own_tokens(account_of(request))
        return self.page_response(request, rows, self.order, DeviceSerializer)

    @extend_schema(operation_id="devices_add", request=NewDeviceSerializer, responses={201: NewKeySerializer})
    def post(self, request: Request) -> Response:
        """A key for another device of yours."""
        serializer = NewDeviceSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        return new_key(account_of(request), serializer.validated_data["device"], self)


class DeviceView(ApiView):
    """One device."""

    @extend_schema(operation_id="devices_close", request=None, responses={204: None})
    def delete(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Its key opens nothing from now on."""
        revoke_own_token(account=account_of(request), uid=uid, now=self.now)
        return Response(status=status.HTTP_204_NO_CONTENT)


class CurrentDeviceView(ApiView):
    """The device that asks."""

    @extend_schema(operation_id="devices_sign_out", request=None, responses={204: None})
    def delete(self, request: Request) -> Response:
        """Sign this device out: its key opens nothing from now on."""
        if isinstance(request.auth, AccessToken):
            revoke_own_token(account=account_of(request), uid=request.auth.uid, now=self.now)
        return Response(status=status.HTTP_204_NO_CONTENT)
