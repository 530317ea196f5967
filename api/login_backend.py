"""The pages' own way in goes through the same door as the API's: counted and written down."""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.utils import timezone

from api.addresses import address_of
from clubdata.errors import ClubdataError
from clubdata.models import Account
from clubdata.services.sign_ins import Attempt, sign_in


class CountedBackend(ModelBackend):
    """Name and password by `clubdata.services.sign_ins`; permissions as Django's own."""

    def authenticate(
        self,
        request: HttpRequest | None,
        username: str | None = None,
        password: str | None = None,
        **_: Any,
    ) -> Account | None:
        if request is None or username is None or password is None:
            return None
        attempt = Attempt(username, address_of(request), device="web page", at=timezone.now())
        try:
            return sign_in(attempt=attempt, password=password)
        except ClubdataError:
            # Ends the search at once; the page says the same as for any wrong password.
            raise PermissionDenied from None
