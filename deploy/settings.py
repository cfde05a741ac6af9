"""Settings of the Django project. Each SLABCAST_ variable is described in DEVELOPERS.md."""

from pathlib import Path
from urllib.parse import unquote, urlsplit

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from deploy import env

BASE_DIR = Path(__file__).resolve().parent.parent
DEMO = env.flag("DEMO")
DEBUG = env.flag("DEBUG")
STATE_DIR = Path(env.text("STATE_DIR") or BASE_DIR / ".demo")

SECRET_KEY = env.text("SECRET_KEY")
if not SECRET_KEY:
    if not (DEBUG or DEMO):
        raise ImproperlyConfigured(
            "SLABCAST_SECRET_KEY is empty. Make one with "
            "`python -c 'import secrets; print(secrets.token_urlsafe(48))'`."
        )
    SECRET_KEY = "only-for-a-demo-on-this-machine-" + "x" * 32
SECRET_KEY_FALLBACKS = env.words("OLD_SECRET_KEYS")
ALLOWED_HOSTS = env.words("HOSTS", "localhost,127.0.0.1" if DEBUG or DEMO else "")
SITE_URL = env.text("SITE_URL", "http://127.0.0.1:8000").rstrip("/")
CSRF_TRUSTED_ORIGINS = [SITE_URL] if SITE_URL.startswith("https://") else []

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "weather",
    "jobs",
    "dispatch",
]
MIDDLEWARE = [
    "deploy.logs.RequestLog",
    "deploy.proxy.VisitorAddress",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "dispatch.views.away.DatabaseAway",
]
ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "dispatch.views.context.house",
            ],
            "libraries": {"slab": "dispatch.templatetags.slab"},
        },
    }
]


def database(url: str) -> dict[str, object]:
    """Settings of one database from `sqlite:///path` or `postgresql://user:pw@host:port/name`."""
    parts = urlsplit(url)
    if parts.scheme == "sqlite":
        return {
            "ENGINE": "deploy.sqlite",
            "NAME": parts.path[1:] if parts.path.startswith("//") else parts.path,
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                "init_command": (
                    "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;"
                ),
            },
        }
    if parts.scheme in {"postgres", "postgresql"}:
        return {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": parts.path.lstrip("/"),
            "USER": unquote(parts.username or ""),
            "PASSWORD": unquote(parts.password or ""),
            "HOST": parts.hostname or "",
            "PORT": str(parts.port or ""),
            "CONN_MAX_AGE": 60,
            "CONN_HEALTH_CHECKS": True,
            "OPTIONS": {
                "options": (
                    "-c lock_timeout=3000 -c statement_timeout=15000"
                    " -c idle_in_transaction_session_timeout=30000"
                ),
            },
        }
    raise ImproperlyConfigured(
        "SLABCAST_DATABASE must start with sqlite:/// or postgresql://, "
        f"not {parts.scheme or 'nothing'}"
    )


DATABASES = {"default": database(env.text("DATABASE") or f"sqlite:///{STATE_DIR}/slabcast.sqlite3")}
# Where `manage.py backup` writes, and what it encrypts with. The key must not be kept beside them.
BACKUP_DIR = Path(env.text("BACKUP_DIR") or STATE_DIR / "backups")
BACKUP_KEY = env.text("BACKUP_KEY")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "jobs.User"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "week"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_SAMESITE = "Lax"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

LANGUAGE_CODE = "en-us"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = Path(env.text("STATIC_DIR") or STATE_DIR / "static")
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True

SECURE = not (DEBUG or DEMO) or env.flag("SECURE")
SECURE_SSL_REDIRECT = SECURE
SECURE_HSTS_SECONDS = 31536000 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE
SECURE_HSTS_PRELOAD = SECURE
SESSION_COOKIE_SECURE = SECURE
CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_NAME = "__Host-session" if SECURE else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if SECURE else "csrf"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# Our proxy writes X-Forwarded-Proto and X-Forwarded-For; without one they are anybody's words.
BEHIND_PROXY = env.flag("BEHIND_PROXY")
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "dispatch.api.tokens.BearerToken",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_THROTTLE_CLASSES": ["dispatch.api.tokens.PerCaller"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["deploy.api.StrictJSONParser"],
    "DEFAULT_PAGINATION_CLASS": "deploy.api.Pages",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "deploy.api.answer_refusal",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Slabcast",
    "DESCRIPTION": (
        "Floors, offers, bookings and verdicts of one branch. Moments are in UTC, measures are "
        "metric; null is what is not known. No answer certifies a slab as dry, safe or cured."
    ),
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "FloorState": "jobs.models.JobState",
        "BookingState": "dispatch.models.BookingState",
        "StintState": "dispatch.models.StintState",
        "Promise": "dispatch.models.PromiseLevel",
        "Level": "dispatch.api.serializers.LEVELS",
    },
}

# Mail: to files in the demo, to a real server when a host is given.
EMAIL_HOST = env.text("MAIL_HOST")
EMAIL_PORT = env.number("MAIL_PORT", 587)
EMAIL_HOST_USER = env.text("MAIL_USER")
EMAIL_HOST_PASSWORD = env.text("MAIL_PASSWORD")
EMAIL_USE_TLS = env.flag("MAIL_TLS", default=True)
EMAIL_TIMEOUT = 15
DEFAULT_FROM_EMAIL = env.text("MAIL_FROM", "office@slabcast.invalid")
EMAIL_FILE_PATH = str(STATE_DIR / "mail")
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if EMAIL_HOST
    else "django.core.mail.backends.filebased.EmailBackend"
)

# Forecasts: `live` asks the services, `replay` plays stored replies anchored to today.
FORECASTS = env.text("FORECASTS", "replay" if DEMO else "live")
if FORECASTS not in {"live", "replay"}:
    raise ImproperlyConfigured(f"SLABCAST_FORECASTS must be live or replay, not {FORECASTS!r}")
# Both services ask for an honest contact; without one nothing is fetched.
FORECAST_CONTACT = env.text("FORECAST_CONTACT")
NWS_URL = env.text("NWS_URL", "https://api.weather.gov")
METNO_URL = env.text("METNO_URL", "https://api.met.no/weatherapi/locationforecast/2.0")
# Open-Meteo's free service is not for business use: without a key it is never asked.
OPEN_METEO_KEY = env.text("OPEN_METEO_KEY")
OPEN_METEO_URL = env.text("OPEN_METEO_URL", "https://customer-api.open-meteo.com/v1")
OPEN_METEO_ENSEMBLE_URL = env.text(
    "OPEN_METEO_ENSEMBLE_URL", "https://customer-ensemble-api.open-meteo.com/v1"
)

# Without a broker the loop `manage.py work` does the same work; nothing is run eagerly.
REDIS_URL = env.text("REDIS_URL")
CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_TIME_LIMIT = 120
CELERY_TASK_SOFT_TIME_LIMIT = 90
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 600,
    "socket_timeout": 2,
    "socket_connect_timeout": 1,
    "health_check_interval": 25,
    "max_retries": 0,  # a page must not wait for a broker; the work is found without its wake
}
CELERY_TIMEZONE = "UTC"

# A customer is erased this many years after their last floor; 0 keeps them until they ask.
KEEP_CUSTOMERS_YEARS = env.number("KEEP_CUSTOMERS_YEARS", 0)
if KEEP_CUSTOMERS_YEARS < 0:
    raise ImproperlyConfigured("SLABCAST_KEEP_CUSTOMERS_YEARS must not be below 0.")

# Figures for a monitor at /metrics; without a token there is no such address.
METRICS_TOKEN = env.text("METRICS_TOKEN")

LOG_FORMAT = env.text("LOG_FORMAT", "line")
if LOG_FORMAT not in {"line", "json"}:
    raise ImproperlyConfigured(f"SLABCAST_LOG_FORMAT must be line or json, not {LOG_FORMAT!r}")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "deploy.logs.Line"}, "json": {"()": "deploy.logs.Json"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT}},
    "root": {"handlers": ["console"], "level": env.text("LOG_LEVEL", "INFO")},
    "loggers": {
        # Below this it writes every address it asks, and with it a service's key.
        "urllib3": {"level": "INFO"},
        # Its own handlers would write secret addresses past the formatters above.
        "django": {"handlers": [], "propagate": True},
        "django.server": {"handlers": [], "propagate": True},
    },
}
