"""Caches that count: one step up, and the time after which the count is forgotten, in one round trip.

The framework's own `incr` asks Redis first whether the key is there, and knows no time to forget it.
"""

from typing import Any

from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache


class CountingRedisCache(RedisCache):
    """Shared by every web process."""

    _cache: Any

    def count(self, key: str, *, timeout_s: int) -> int:
        """One more of `key`, and how many there are now."""
        stored_key = self.make_and_validate_key(key)
        with self._cache.get_client(stored_key, write=True).pipeline(transaction=False) as both:
            both.incr(stored_key)
            both.expire(stored_key, timeout_s)
            return int(both.execute()[0])


class CountingLocalCache(LocMemCache):
    """Each web process's own."""

    def count(self, key: str, *, timeout_s: int) -> int:
        """One more of `key`, and how many there are now."""
        # Of several that add the first at once one does, and the others step up from it.
        return 1 if self.add(key, 1, timeout=timeout_s) else self.incr(key)
