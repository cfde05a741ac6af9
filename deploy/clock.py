"""Celery's clock, of which any number may be started: one ticks, the others wait to take over.

Tasks may run twice without harm, so this spares work and wakes rather than guards anything.
"""

import logging
import secrets

from celery.beat import Scheduler
from django.conf import settings
from redis import Redis, RedisError

log = logging.getLogger(__name__)

KEY = "slabcast:clock"
LEASE_S = 30
WAIT_S = 5
# Extends the lease if it is still ours: between a GET and a SET it could pass to another.
_RENEW = """
if redis.call('get', KEYS[1]) == ARGV[1] then return redis.call('expire', KEYS[1], ARGV[2]) end
return redis.call('set', KEYS[1], ARGV[1], 'NX', 'EX', ARGV[2]) and 1 or 0
"""


class OneClock(Scheduler):  # type: ignore[misc]
    """Ticks while it holds the lease in Redis; else it looks again in five seconds.

    What is due stands in the database, so nothing is kept on disk between two starts.
    """

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.name = secrets.token_hex(8)
        self.redis = Redis.from_url(settings.REDIS_URL, socket_connect_timeout=2, socket_timeout=2)

    def tick(self, *args: object, **kwargs: object) -> float:
        """Send what is due, if this is the clock that ticks; return the seconds to wait."""
        if not self.holds_lease():
            return WAIT_S
        wait: float = super().tick(*args, **kwargs)
        return min(wait, WAIT_S)

    def holds_lease(self) -> bool:
        """Whether this clock ticks; false while Redis is away, where no task could go anyway."""
        try:
            return bool(self.redis.eval(_RENEW, 1, KEY, self.name, LEASE_S))
        except RedisError as trouble:
            log.warning("The clock waits for Redis: %s", type(trouble).__name__)
            return False
