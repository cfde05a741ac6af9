"""Whether this process can serve: for load balancers, containers and the start script."""

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from dispatch.reads import pulse
from weather import behaviour

REDIS_PATIENCE_S = 1


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 while the database answers, else 503. Redis is told but decides nothing.

    Pages and bookings work without Redis, so its absence must not take this process out.
    """
    database = database_state()
    status = 200 if database == "ok" else 503
    return JsonResponse({"database": database, "redis": redis_state()}, status=status)


@never_cache
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 once requests may come: the database answers and has every migration, else 503.

    It also names the kinds of background work that nobody has done for a while, and a clock of
    a forecast service that differs from ours. That decides nothing: pages serve without it,
    and an alarm belongs on it, not a restart of the web.
    """
    try:
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
        silent = [] if missing else pulse.silent(now=timezone.now())
        clocks = "" if missing else behaviour.clocks_apart()
    except DatabaseError:
        return JsonResponse({"database": "down"}, status=503)
    if missing:
        return JsonResponse({"database": "ok", "migrations": len(missing)}, status=503)
    return JsonResponse({"database": "ok", "migrations": 0, "silent": silent, "clocks": clocks})


def database_state() -> str:
    """`ok` or `down`."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "down"
    return "ok"


def redis_state() -> str:
    """`ok`, `down`, or `off` where no address is set."""
    if not settings.REDIS_URL:
        return "off"
    # Here, since importing it costs half a second that no installation without it owes.
    from redis import Redis, RedisError

    client = Redis.from_url(
        settings.REDIS_URL,
        socket_connect_timeout=REDIS_PATIENCE_S,
        socket_timeout=REDIS_PATIENCE_S,
    )
    try:
        client.ping()
    except RedisError:
        return "down"
    finally:
        client.close()
    return "ok"
