"""The cache of a served installation: Redis, and while Redis is away this process's own memory.

Only what may be forgotten is cached: limits on tries, and whether this is practice. The rule while
Redis is away: every limit still holds, counted anew and in each process for itself, so that with
three processes a stranger has three times the tries. Nothing is refused because Redis is away,
and nothing is let through uncounted.
"""

from __future__ import annotations

import time
from typing import Any

import structlog
from django.core.cache.backends.base import BaseCache
from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError as RedisAway
from redis.exceptions import TimeoutError as RedisSlow
from redis.retry import Retry

log = structlog.get_logger(__name__)

# How long nobody asks a Redis that did not answer: a page must not wait for it each time.
LEFT_ALONE_S = 5.0
_OPTIONS = {
    "socket_connect_timeout": 0.5,
    "socket_timeout": 1.0,
    # Once more, for a connection that a restart of Redis has cut; no more, for a page waits.
    "retry": Retry(NoBackoff(), 1),
}


class _Spell:
    """Until when Redis is left alone; of the whole process, whose threads have a cache each."""

    until = 0.0


class HealingCache(BaseCache):
    """Django's Redis cache, which falls back and comes back by itself."""

    def __init__(self, location: str, params: dict[str, Any]) -> None:
        super().__init__(params)
        params = {**params, "OPTIONS": {**_OPTIONS, **params.get("OPTIONS", {})}}
        self._redis = RedisCache(location, params)
        # A name of its own, so that all of this process's threads count in one memory.
        self._memory = LocMemCache("while-redis-is-away", {})

    def _ask(self, name: str, *args: Any, **facts: Any) -> Any:
        if time.monotonic() >= _Spell.until:
            try:
                return getattr(self._redis, name)(*args, **facts)
            except (RedisAway, RedisSlow) as error:
                # The question is then answered from memory below, so nobody sees that Redis is
                # away.
                _Spell.until = time.monotonic() + LEFT_ALONE_S
                log.warning("redis_away", error=type(error).__name__)
        return getattr(self._memory, name)(*args, **facts)

    def add(self, *args: Any, **facts: Any) -> Any:
        return self._ask("add", *args, **facts)

    def get(self, *args: Any, **facts: Any) -> Any:
        return self._ask("get", *args, **facts)

    def set(self, *args: Any, **facts: Any) -> Any:
        return self._ask("set", *args, **facts)

    def touch(self, *args: Any, **facts: Any) -> Any:
        return self._ask("touch", *args, **facts)

    def delete(self, *args: Any, **facts: Any) -> Any:
        return self._ask("delete", *args, **facts)

    def has_key(self, *args: Any, **facts: Any) -> Any:
        return self._ask("has_key", *args, **facts)

    def incr(self, *args: Any, **facts: Any) -> Any:
        return self._ask("incr", *args, **facts)

    def clear(self) -> Any:
        return self._ask("clear")
