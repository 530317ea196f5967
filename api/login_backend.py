"""The pages' own ways in go through the same door as the API's: counted, written down and slowed."""

from collections.abc import Callable
from typing import Any

from django.contrib.admin.forms import AdminAuthenticationForm
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from api.addresses import address_of
from clubdata.errors import ClubdataError
from clubdata.models import Account
from clubdata.services.sign_ins import Attempt, TooManyAttempts, sign_in

#: Where a request keeps the refusal that asks it to wait.
_TOO_MANY = "clubdata.too_many_attempts"


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
        except ClubdataError as refused:
            if isinstance(refused, TooManyAttempts):
                request.META[_TOO_MANY] = refused
            # Ends the search at once; the page says the same as for any wrong password.
            raise PermissionDenied from None


class CountedForm(AuthenticationForm):
    """Asks for a while's patience where the API does, whether or not the name exists."""

    def get_invalid_login_error(self) -> ValidationError:
        refused = _too_many(self.request)
        return super().get_invalid_login_error() if refused is None else ValidationError(refused.message)


class CountedAdminForm(CountedForm, AdminAuthenticationForm):
    """The same before the books."""


class SlowedSignInMiddleware:
    """A page that asks for patience says so in its status too: 429, and when to come back."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        refused = _too_many(request)
        if refused is not None:
            response.status_code = 429
            response.headers["Retry-After"] = str(refused.wait)
        return response


def _too_many(request: HttpRequest | None) -> TooManyAttempts | None:
    return None if request is None else request.META.get(_TOO_MANY)
