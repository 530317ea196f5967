"""How many requests a minute, for each account and for each address without one; told in every answer.

The headers are those of the IETF's draft (draft-ietf-httpapi-ratelimit-headers): `RateLimit-Policy` says the
rule, `RateLimit` what is left of it and in how many seconds it begins anew.
"""

import hashlib
import logging
import time
from typing import NamedTuple

from django.conf import settings
from django.core.cache import cache
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from api.addresses import address_of

WINDOW_S = 60
logger = logging.getLogger("clubdata.limits")


class Standing(NamedTuple):
    """What a caller has left of a rule: `name` and `most` are the rule's, `left_s` until it begins anew."""

    name: str
    most: int
    used: int
    left_s: int

    def headers(self) -> dict[str, str]:
        left = max(0, self.most - self.used)
        return {
            "RateLimit-Policy": f'"{self.name}";q={self.most};w={WINDOW_S}',
            "RateLimit": f'"{self.name}";r={left};t={self.left_s}',
        }


class CallerLimit(BaseThrottle):
    """So many reads and so many writes a minute, counted in whole minutes: one step of the cache a request.

    When the cache is not there, nobody is turned away.
    """

    standing: Standing | None = None

    def allow_request(self, request: Request, _view: APIView) -> bool:
        reads = request.method in SAFE_METHODS
        name, most = ("reads", settings.READS_A_MINUTE) if reads else ("writes", settings.WRITES_A_MINUTE)
        if not most:
            return True
        minute, passed_s = divmod(int(time.time()), WINDOW_S)
        used = _count(f"limit:{name}:{_caller(request)}:{minute}")
        self.standing = Standing(name, most, used, WINDOW_S - passed_s)
        return used <= most

    def wait(self) -> float:
        return WINDOW_S if self.standing is None else self.standing.left_s


def _caller(request: Request) -> str:
    if request.user.is_authenticated:
        return f"account:{request.user.pk}"
    return "address:" + hashlib.sha256(address_of(request).encode()).hexdigest()[:32]


def _count(key: str) -> int:
    try:
        return int(cache.count(key, timeout_s=2 * WINDOW_S))  # type: ignore[attr-defined]  # of api.caches
    except Exception as broken:  # whatever the cache raises: answers go on
        logger.warning("limits are not counted", extra={"fault": type(broken).__name__})
        return 0
