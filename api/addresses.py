"""Where a request comes from, as far as that can be known."""

from django.conf import settings
from django.http import HttpRequest


def address_of(request: HttpRequest) -> str:
    """The client's address: what the last trusted proxy saw (`CLUBDATA_PROXIES`), else who is connected.

    Of `X-Forwarded-For` only what our own proxies wrote is believed: the rest is the client's word.
    """
    proxies = settings.TRUSTED_PROXIES
    forwarded = [
        one.strip() for one in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if one.strip()
    ]
    if proxies and len(forwarded) >= proxies:
        return str(forwarded[-proxies])[:64]
    return str(request.META.get("REMOTE_ADDR", ""))[:64]
