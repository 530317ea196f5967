"""Who is asking: the key of a device in the Authorization header, else the session of the admin's login."""

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.request import Request

from clubdata.models import AccessToken, Account

SCHEME = "Bearer"
LONGEST_KEY = 200


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <key>` (RFC 6750). Every refusal reads the same, whatever the reason."""

    def authenticate(self, request: Request) -> tuple[Account, AccessToken] | None:
        scheme, _, key = get_authorization_header(request).strip().partition(b" ")
        if scheme.lower() != SCHEME.lower().encode():
            return None
        token = self._token_of(key.strip())
        if token is None or not token.opens_at(timezone.now()) or not token.account.is_active:
            raise AuthenticationFailed("The key is not valid: it is unknown, expired or revoked.")
        return token.account, token

    def authenticate_header(self, _request: Request) -> str:
        return f'{SCHEME} realm="clubdata"'

    @staticmethod
    def _token_of(key: bytes) -> AccessToken | None:
        if not key.isascii() or not 0 < len(key) <= LONGEST_KEY:
            return None
        digest = AccessToken.digest_of(key.decode("ascii"))
        return AccessToken.objects.select_related("account").filter(digest=digest).first()


def account_of(request: Request) -> Account:
    """The signed-in account of a request that permissions have let through."""
    account = request.user
    if not isinstance(account, Account):
        raise NotAuthenticated
    return account
