"""All settings, read from the environment only; weak or missing production values stop the start.

Two shapes run from this one module: embedded (SQLite, filesystem broker, no server to install)
and served (`HINGEBACK_SERVED=1`: PostgreSQL, Redis, HTTPS in front).
"""

from __future__ import annotations

import os
import re
import secrets
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import dj_database_url
import structlog
from csp.constants import NONCE, NONE, SELF
from django.conf.locale import LANG_INFO
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import to_locale
from environs import Env
from kombu import Exchange, Queue

from deploy import stores

env = Env(prefix="HINGEBACK_")

BASE_DIR = Path(__file__).resolve().parent.parent
# What any of our processes writes, its owner alone may read: names, addresses, the key.
os.umask(0o077)
DATA_DIR = Path(env.str("DATA_DIR", "") or BASE_DIR / "var")
try:
    DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
except OSError as error:
    raise ImproperlyConfigured(f"{DATA_DIR} cannot be made: {error.strerror}.") from error
if not os.access(DATA_DIR, os.W_OK | os.X_OK):
    raise ImproperlyConfigured(
        f"{DATA_DIR} may not be written by this user. Give it to the user who runs the shop, or "
        "name another folder in HINGEBACK_DATA_DIR."
    )
# Copies are made and proved here; with a store of its own they are then carried there.
COPIES_DIR = Path(env.str("BACKUP_DIR", "") or DATA_DIR / "backups")

SERVED = env.bool("SERVED", False)
DEBUG = env.bool("DEBUG", False)
if SERVED and DEBUG:
    raise ImproperlyConfigured("HINGEBACK_DEBUG must be off when HINGEBACK_SERVED is on.")


def _kept_secret(path: Path) -> str:
    """Embedded installations make their own secret once and keep it beside the data."""
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(48), encoding="utf-8")
    return path.read_text(encoding="utf-8").strip()


KEY_IS_GIVEN = bool(env.str("SECRET_KEY", ""))
SECRET_KEY = env.str("SECRET_KEY", "") or ("" if SERVED else _kept_secret(DATA_DIR / "secret_key"))
if len(SECRET_KEY) < 40:
    raise ImproperlyConfigured("HINGEBACK_SECRET_KEY must hold at least 40 random characters.")

BASE_URL = env.str("BASE_URL", "http://127.0.0.1:8000").rstrip("/")
# Where our own links lead is answered, whatever else is.
_BASE = urlsplit(BASE_URL)
IS_HTTPS = SERVED or _BASE.scheme == "https"
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", ["127.0.0.1", "localhost", "[::1]"])
if _BASE.hostname and _BASE.hostname not in ALLOWED_HOSTS:
    ALLOWED_HOSTS.append(_BASE.hostname)
CSRF_TRUSTED_ORIGINS: list[str] = env.list("TRUSTED_ORIGINS", [])
# 0 trusts no X-Forwarded-For at all: with a number too high a visitor could type an address of
# their own.
TRUSTED_PROXIES = env.int("TRUSTED_PROXIES", 0)

# Opens /health/ and /metrics/ to a monitor.
MONITOR_TOKEN = env.str("MONITOR_TOKEN", "")
if MONITOR_TOKEN and len(MONITOR_TOKEN) < 20:
    raise ImproperlyConfigured("HINGEBACK_MONITOR_TOKEN must hold at least 20 random characters.")
if SERVED:
    # Read when the library is imported: from then on all processes count into this one folder.
    _counts = Path(os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(DATA_DIR / "metrics")))
    _counts.mkdir(parents=True, exist_ok=True)

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "django_otp_webauthn",
    "csp",
    "django_htmx",
    "django_countries",
    "django_filters",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_structlog",
    "deploy",
    "inventory",
    "returns",
    # After the rooms: a template of theirs takes the place of its own.
    "django.contrib.admin",
]

MIDDLEWARE = [
    "deploy.metrics.MetricsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "inventory.furniture.pages.practice.PracticeMiddleware",
    "django_permissions_policy.PermissionsPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django_otp.middleware.OTPMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "inventory.staff.pages.door.DoorMiddleware",
    "inventory.staff.pages.entry.FirstPasswordMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_structlog.middlewares.RequestMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
    "inventory.furniture.pages.refusals.RefusalMiddleware",
]

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "inventory.furniture.pages.frame.workshop",
            ],
        },
    },
]

DATABASES = {
    "default": dj_database_url.parse(
        env.str("DATABASE_URL", f"sqlite:///{DATA_DIR / 'hingeback.sqlite3'}")
    )
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # IMMEDIATE takes the write lock first: a read-then-write never fails half way with "locked".
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    }
    if SERVED:
        raise ImproperlyConfigured(
            "A served installation needs PostgreSQL: set HINGEBACK_DATABASE_URL."
        )
else:
    if SERVED:
        # Each connection is tried before it is lent; nobody waits longer than that for a free one.
        DATABASES["default"].setdefault("OPTIONS", {})["pool"] = {"timeout": 5}
        DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
    DATABASES["default"].setdefault("OPTIONS", {}).setdefault("connect_timeout", 5)
    # Nobody waits for another's lock without end, and no lock outlives a process that hangs.
    DATABASES["default"]["OPTIONS"].setdefault(
        "options", "-c lock_timeout=10s -c idle_in_transaction_session_timeout=300s"
    )
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL = env.str("REDIS_URL", "")
CACHES = {
    "default": {"BACKEND": "deploy.caching.HealingCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

# Background work. The outbox table is the record; a broker only wakes the worker up.
_SPOOL = DATA_DIR / "spool"
CELERY_BROKER_URL = env.str("BROKER_URL", REDIS_URL or "filesystem://localhost//")
if CELERY_BROKER_URL.startswith("filesystem"):
    for _folder in ("queue", "control"):
        (_SPOOL / _folder).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = {
        "data_folder_in": str(_SPOOL / "queue"),
        "data_folder_out": str(_SPOOL / "queue"),
        "control_folder": str(_SPOOL / "control"),
    }
else:
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": 600,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 2,
        # A broker that is away, or that does not answer, costs a page this long and no longer.
        "socket_connect_timeout": 1,
        "socket_timeout": 5,
    }
CELERY_TASK_IGNORE_RESULT = True
# Acknowledged when done: a task whose worker is killed comes back. Every task is idempotent, so
# twice is harmless.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_SOFT_TIME_LIMIT = 240
CELERY_TASK_TIME_LIMIT = 300
# No task waits behind a long one in a worker's hands while another worker is free.
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
# In kilobytes. Drawing PDFs and pictures lets a process grow; past this it is replaced between two
# tasks.
CELERY_WORKER_MAX_MEMORY_PER_CHILD = 600_000
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat")
# A long report must delay no letter. A worker that is not told which of these to take takes all.
_QUEUES = ("letters", "documents", "figures")
CELERY_TASK_QUEUES = [Queue(name, Exchange(name), routing_key=name) for name in _QUEUES]
CELERY_TASK_DEFAULT_QUEUE = "figures"
OUTBOX_QUEUES = {"letter": "letters", "anchor": "letters", "report.pdf": "documents"}
CELERY_BEAT_SCHEDULE = {
    **{
        f"sweep-{name}": {
            "task": "inventory.tasks.sweep_outbox",
            "schedule": timedelta(seconds=env.int("SWEEP_S", 20)),
            "args": (name,),
            # One that finds its worker busy for longer has been overtaken by the next.
            "options": {"queue": name, "expires": 60},
        }
        for name in _QUEUES
    },
    "serve-waiting-kits": {
        "task": "returns.tasks.reserve_waiting_kits",
        "schedule": timedelta(hours=1),
    },
    "copy-when-due": {"task": "deploy.tasks.copy_when_due", "schedule": timedelta(minutes=15)},
    "prune-expired": {"task": "returns.tasks.prune_expired", "schedule": timedelta(hours=6)},
}

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"
AXES_FAILURE_LIMIT = 8
# Slow, and never shut: eight tries of a name from an address, then five minutes' rest, which
# further tries do not make longer. A browser in which that name signed in before counts apart, so
# nobody who only knows the name can keep its owner out of it.
AXES_COOLOFF_TIME = timedelta(minutes=5)
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_CLIENT_IP_CALLABLE = "inventory.furniture.visitors.address_or_none"
AXES_LOCKOUT_TEMPLATE = "hingeback/locked_out.html"
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_CALLABLE = "inventory.staff.pages.entry.tried_name"

AXES_DISABLE_ACCESS_LOG = True  # sign-ins have a table of our own, which people can read

# Of these roles a second factor is asked; of everybody else who has set one up, too.
SECOND_FACTOR_ROLES = env.list("SECOND_FACTOR_ROLES", ["owner", "accountant"] if SERVED else [])
TRUST_DAYS = env.int("TRUST_DAYS", 30)
# A passkey is bound to one name for good, and an address of numbers is no name (W3C WebAuthn
# Level 3, 5.1.2); browsers offer none without HTTPS, but on the machine itself.
_NAMED = bool(_BASE.hostname) and not re.fullmatch(r"[\d.]+|.*:.*", _BASE.hostname or "")
PASSKEYS = _NAMED and (_BASE.scheme == "https" or _BASE.hostname == "localhost")
OTP_WEBAUTHN_RP_ID = _BASE.hostname if PASSKEYS else "localhost"
OTP_WEBAUTHN_ALLOWED_ORIGINS = [BASE_URL if PASSKEYS else "http://localhost"]
OTP_WEBAUTHN_RP_NAME = "Hingeback"
OTP_WEBAUTHN_ALLOW_PASSWORDLESS_LOGIN = False
OTP_TOTP_ISSUER = f"Hingeback {_BASE.hostname}"
OTP_ADMIN_HIDE_SENSITIVE_DATA = True

SESSION_ENGINE = "inventory.furniture.sessions"
SESSION_IDLE_MINUTES = env.int("SESSION_IDLE_MINUTES", 120)
SESSION_COOKIE_AGE = env.int("SESSION_HOURS", 12) * 3600
# Of sign-ins; afterwards it is still known who signed in when, and no longer from where.
ADDRESS_DAYS = env.int("ADDRESS_DAYS", 30)
# Cookies know no ports: a workshop beside the demo would sign people out of the other one.
_MARK = "" if SERVED or _BASE.port in (None, 8000) else f"-{_BASE.port}"
SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = f"sessionid{_MARK}", f"csrftoken{_MARK}"
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "inventory.furniture.pages.frame.csrf_failure"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if IS_HTTPS:
    # Only where a proxy stands in front and sets it; else a visitor could claim HTTPS.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_SSL_HOST = _BASE.netloc
    # Asked by what starts us, on the machine itself.
    SECURE_REDIRECT_EXEMPT = [r"^(alive|ready)/$"]
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    # The prefix binds a cookie to this host and to HTTPS; a browser refuses it from a subdomain
    # (draft RFC 6265bis, 4.1.3.2).
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = f"__Host-session{_MARK}", f"__Host-csrf{_MARK}"
if SERVED:
    # Not with an authority of one's own: a browser that lost its certificate would be shut out.
    SECURE_HSTS_SECONDS = 31_536_000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
KNOWN_COOKIE_NAME = f"__Host-known{_MARK}" if IS_HTTPS else "known-browser"
TRUSTED_COOKIE_NAME = f"__Host-trusted{_MARK}" if IS_HTTPS else "trusted-browser"
# The proxy of `up.sh --network` keeps its own certificate authority here.
NETWORK_DIR = DATA_DIR / "network"
CONTENT_SECURITY_POLICY = {
    "EXCLUDE_URL_PREFIXES": [],
    "DIRECTIVES": {
        # Nothing unless it is named, and nothing from elsewhere: the service works without the
        # internet.
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
        "manifest-src": [SELF],
    },
}
PERMISSIONS_POLICY: dict[str, list[str]] = {
    "camera": ["self"],
    "geolocation": [],
    "microphone": [],
    "serial": ["self"],
}

DATA_UPLOAD_MAX_NUMBER_FILES = 20
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000
PHOTO_BYTES_MAX = env.int("PHOTO_BYTES_MAX", 12_000_000)
# 40 megapixels decode to some 120 MB: memory is bounded by pixels, not by the bytes of the file.
PHOTO_PIXELS_MAX = env.int("PHOTO_PIXELS_MAX", 40_000_000)
MEDIA_ROOT = DATA_DIR / "media"
FILE_UPLOAD_PERMISSIONS, FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o600, 0o700
# An installation from before these lines may hold more open ones; the folder itself may be shared.
for _private, _mode in (("hingeback.sqlite3", 0o600), ("media", 0o700), ("reports", 0o700)):
    if (DATA_DIR / _private).exists() and (DATA_DIR / _private).stat().st_uid == os.geteuid():
        (DATA_DIR / _private).chmod(_mode)

LANGUAGE_CODE = env.str("LANGUAGE", "en")
# A language is offered once every room has its compiled catalogue; English needs none.
LANGUAGES = [
    (code, info["name"])
    for code, info in sorted(LANG_INFO.items(), key=lambda item: (item[0] != "en", item[0]))
    if "name" in info
    and all(
        code == "en"
        or (BASE_DIR / room / "locale" / to_locale(code) / "LC_MESSAGES" / "django.mo").is_file()
        for room in ("inventory", "returns")
    )
]
# Our own words come before those that a library has for the same English.
LOCALE_PATHS = [BASE_DIR / room / "locale" for room in ("inventory", "returns")]
USE_I18N = True
USE_TZ = True
TIME_ZONE = env.str("TIME_ZONE", "Europe/Berlin")

STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("STATIC_DIR", "") or DATA_DIR / "static")
STATIC_ROOT.mkdir(exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    **stores.of(env),
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if env.bool("HASHED_STATIC", False)
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
# Hashed names alone are ever asked for; and nobody but a developer's browser asks for a source map.
# Compressing both took two thirds of the time of a first start.
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = (
    *[
        "map",
        "jpg",
        "jpeg",
        "png",
        "gif",
        "webp",
        "zip",
        "gz",
        "tgz",
        "bz2",
        "tbz",
        "xz",
        "br",
        "swf",
        "flv",
        "woff",
        "woff2",
    ],
)
WHITENOISE_USE_FINDERS = not env.bool("HASHED_STATIC", False)

_MAIL = "django.core.mail.backends"
EMAIL_BACKEND = env.str("EMAIL_BACKEND", "") or (
    f"{_MAIL}.smtp.EmailBackend" if env.str("EMAIL_HOST", "") else f"{_MAIL}.console.EmailBackend"
)
# Else letters are printed, or kept in files: nobody may be told that one was sent.
MAIL_GOES_OUT = EMAIL_BACKEND not in {
    f"{_MAIL}.{name}.EmailBackend" for name in ("console", "filebased", "locmem", "dummy")
}
EMAIL_FILE_PATH = env.str("EMAIL_FILE_PATH", str(DATA_DIR / "mail"))
EMAIL_HOST = env.str("EMAIL_HOST", "") or "localhost"
EMAIL_PORT = env.int("EMAIL_PORT", 25)
EMAIL_HOST_USER = env.str("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = env.str("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = env.bool("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = env.bool("EMAIL_USE_SSL", False)
ANCHOR_EMAIL = env.str("ANCHOR_EMAIL", "")
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("FROM_EMAIL", "") or "workshop@example.org"
if EMAIL_USE_TLS and EMAIL_USE_SSL:
    raise ImproperlyConfigured(
        "Choose one: HINGEBACK_EMAIL_USE_TLS (port 587) or HINGEBACK_EMAIL_USE_SSL (port 465)."
    )
_has_server = bool(env.str("EMAIL_HOST", "")) or not EMAIL_BACKEND.startswith(_MAIL)
if SERVED and not (MAIL_GOES_OUT and _has_server and env.str("FROM_EMAIL", "")):
    raise ImproperlyConfigured(
        "A served installation writes to customers: set HINGEBACK_EMAIL_HOST to your mail server "
        "and HINGEBACK_FROM_EMAIL to the sender."
    )

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "inventory.furniture.api.tokens.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["inventory.furniture.api.access.HasScope"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "rest_framework.parsers.JSONParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_PAGINATION_CLASS": "inventory.furniture.api.paging.NewestFirst",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "inventory.furniture.api.problems.handler",
    "DEFAULT_THROTTLE_RATES": {"file": env.str("FILE_RATE", "60/hour")},
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Hingeback",
    "DESCRIPTION": "Take-back, repair and regrind, in grams.",
    "VERSION": "0.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "COMPONENT_SPLIT_REQUEST": True,
}

# What the two rooms ask of each other without importing upward: dotted paths, wired here.
DESK_NOTES = {
    "accountant": "inventory.months.pages.waiting.notes",
    "bench": "returns.desk.pages.bench_notes",
    "owner": "returns.desk.pages.notes",
}
WITNESSES = ["inventory.material.queries.witness", "returns.story.queries.witness"]
MONTH_GUARDS = ["returns.desk.queries.dangling.month_guard"]
OUTBOX_HANDLERS = {
    "report.pdf": "inventory.months.reports.pdf_files.make_pdf",
    "letter": "returns.letters.delivery.send",
    "anchor": "inventory.months.reports.anchor.send",
}

# Request lines carry a request id and a user id, and no address of anybody.
DJANGO_STRUCTLOG_IP_LOGGING_ENABLED = False
# A task carries the id of the request that called for it into its own lines.
DJANGO_STRUCTLOG_CELERY_ENABLED = True
structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.filter_by_level,
        structlog.processors.TimeStamper(fmt="iso"),
        structlog.stdlib.add_logger_name,
        structlog.stdlib.add_log_level,
        structlog.processors.format_exc_info,
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)
LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": "deploy.logs.DiscreetFormatter",
            "processor": structlog.processors.JSONRenderer(),
        },
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", "WARNING")},
}
