"""One settings file; what differs between installations comes from the environment (see env.py)."""

from __future__ import annotations

from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import django_stubs_ext
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from homedialysis import env, languages

django_stubs_ext.monkeypatch()  # lets forms and other generic classes name their type at run time


def _package_folder(name: str) -> Path:
    """Where an installed package lies, without importing it."""
    spec = find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise ImproperlyConfigured(f"The package {name} is not installed")
    return Path(next(iter(spec.submodule_search_locations)))


BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(env.read_text("DATA_DIR", str(BASE_DIR / ".local")))
VERSION = "0.2.0"
"""Names the release on pages and in file names the browser keeps."""

DEBUG = env.read_flag("DEBUG", default=False)
_site = env.read_site("http://127.0.0.1:8000")
SITE_ADDRESS, SITE_HOST, HTTPS = _site.address, _site.host, _site.https
SECRET_KEY = env.read_signing_key(_site, DATA_DIR)

ALLOWED_HOSTS = [SITE_HOST, *([] if HTTPS else ["localhost", "127.0.0.1", "[::1]"])]
CSRF_TRUSTED_ORIGINS = [SITE_ADDRESS] if HTTPS else []

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.postgres",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "csp",
    "django_htmx",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "knox",
    "pgtrigger",
    "pghistory",
    "rest_framework",
    "homedialysis.accounts",
    "sessions.apps.TreatmentsConfig",
    "dosing",
    "alerts",
    "homedialysis",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "pghistory.middleware.HistoryMiddleware",
    "homedialysis.web.middleware.UnitTime",
    "homedialysis.web.middleware.UserLanguage",
    "homedialysis.web.middleware.SignedOutFragments",
    "homedialysis.web.middleware.WipedAtSignOut",
    "homedialysis.web.middleware.NeverStored",
]

ROOT_URLCONF = "homedialysis.urls"
WSGI_APPLICATION = "homedialysis.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["homedialysis.templatetags.dates"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "homedialysis.web.context.unit",
            ],
        },
    }
]

_servers = {} if env.read_text("DATABASE_URL") else env.local_urls(DATA_DIR)
DATABASE_URL = env.read_text("DATABASE_URL", _servers.get("database_url", ""))
BROKER_URL = env.read_secret("BROKER_URL", _servers.get("broker_url", "redis://127.0.0.1:6379/0"))
DATABASES = {
    "default": env.database_from_url(
        DATABASE_URL or "postgresql://127.0.0.1/homedialysis",
        password=env.read_secret("DATABASE_PASSWORD"),
    )
}
PGHISTORY_APPEND_ONLY = True  # what a trigger kept, nobody changes: not by code, not by hand
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

POSTGRES_TOOLS = env.read_text("POSTGRES_TOOLS")
"""The folder of pg_dump and pg_restore, where they are not found by themselves."""

CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "shared_cache",
    }
}

# People -----------------------------------------------------------------------------------------

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
    )
]
AUTH_PASSWORD_VALIDATORS.append({"NAME": "homedialysis.accounts.services.passwords.NotGuessedAtOnce"})
AUTH_PASSWORD_VALIDATORS[1]["OPTIONS"] = {"min_length": 12}  # type: ignore[assignment]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "homedialysis.accounts.services.adapter.InvitedOnly"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"  # the invitation went to the address already
ACCOUNT_CHANGE_EMAIL = True  # one address; a new one counts once it is confirmed
ACCOUNT_EMAIL_NOTIFICATIONS = True
# Whoever tries slows down where they try from; an address is never locked: it may be that of the nurse on call.
ACCOUNT_RATE_LIMITS = {"login_failed": "10/m/ip,60/h/ip"}
ACCOUNT_USER_DISPLAY = str
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
PROXIES = 1 if HTTPS else 0  # limits on tries count by the address that our own proxy saw
ALLAUTH_TRUSTED_PROXY_COUNT = PROXIES
ACCOUNT_LOGOUT_REDIRECT_URL = LOGIN_URL
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
SESSION_COOKIE_AGE = 60 * 60 * 24 * 14

KNOX_TOKEN_MODEL = "accounts.DeviceToken"  # noqa: S105
# Our token model takes the place of the only one knox has: its table would be empty, and in the way of a flush.
MIGRATION_MODULES = {"knox": None}
REST_KNOX = {"TOKEN_TTL": timedelta(days=180)}

# API --------------------------------------------------------------------------------------------

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "homedialysis.accounts.services.tokens.ScopedTokens",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "sessions.api.pagination.NewestFirst",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.UserRateThrottle"],
    "DEFAULT_THROTTLE_RATES": {"user": env.read_text("API_RATE", "600/min")},
    "NUM_PROXIES": PROXIES,
    "EXCEPTION_HANDLER": "sessions.api.errors.handler",
    "UNICODE_JSON": False,  # a refusal repeats what was given, and half of a surrogate pair has no UTF-8
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Home dialysis record",
    "DESCRIPTION": (
        "The shared record of a home-haemodialysis unit and its patients. A record and review tool: "
        "no alarm and no monitor. Units are canonical: kg, L, mL/min, mmHg, mmol/L, minutes, °C, mS/cm."
    ),
    "VERSION": VERSION,
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {
        "deepLinking": True,
        "persistAuthorization": False,
        "validatorUrl": None,
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "homedialysis.web.openapi.parts_that_may_be_missing",
        "homedialysis.web.openapi.refusals_in_their_own_form",
    ],
    "ENUM_NAME_OVERRIDES": {
        "StateEnum": "sessions.models.RecordState",
        "EventKindEnum": "sessions.facts.choices.EventKind",
        "WaterKindEnum": "sessions.facts.choices_surroundings.WaterKind",
        "TaskKindEnum": "sessions.facts.choices_surroundings.TaskKind",
    },
}

# Work ---------------------------------------------------------------------------------------------

CELERY_BROKER_URL = BROKER_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_DEFAULT_QUEUE = "now"
CELERY_TASK_ROUTES = {"dosing.*": {"queue": "later"}, "alerts.replay_*": {"queue": "later"}}
CELERY_TASK_TIME_LIMIT = 300
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 900,  # longer than any task may run
    "socket_connect_timeout": 2,
    "socket_timeout": 5,
}
# A message that cannot be sent at once is dropped: the row waits in the database and the sweep finds it.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BEAT_SCHEDULE = {
    "jobs": {"task": "dosing.work_on_jobs", "schedule": 60.0, "options": {"expires": 55, "queue": "later"}},
    "months": {"task": "dosing.compute_months", "schedule": 60.0, "options": {"expires": 55, "queue": "later"}},
    "sweep": {"task": "alerts.sweep", "schedule": 60.0, "options": {"expires": 55}},
    "heartbeat": {
        "task": "alerts.heartbeat",
        "schedule": 30.0,
        "options": {"expires": 25},
    },
    "heartbeat of what can wait": {
        "task": "alerts.heartbeat",
        "args": ["later"],
        "schedule": 30.0,
        "options": {"expires": 25, "queue": "later"},
    },
    "recomputing": {
        "task": "dosing.recompute_history",
        "schedule": 900.0,
        "options": {"expires": 800, "queue": "later"},
    },
    "messages": {"task": "alerts.deliver_due", "schedule": 60.0, "options": {"expires": 55}},
    "missing records": {
        "task": "alerts.look_for_missing",
        "schedule": 900.0,
        "options": {"expires": 800},
    },
}
CELERY_BEAT_SCHEDULE_FILENAME = env.read_text("BEAT_SCHEDULE_FILE", str(DATA_DIR / "beat-schedule"))
# Noted after each task: a restart goes on at once, and the health check sees that beat is at work.
CELERY_BEAT_SYNC_EVERY = 1

# Pages --------------------------------------------------------------------------------------------

LANGUAGE_CODE = "en"
LOCALE_PATHS = [BASE_DIR / "homedialysis" / "locale"]
LANGUAGES = languages.offered(LOCALE_PATHS[0])
STAFF_LANGUAGES = languages.offered_to_staff(LOCALE_PATHS[0])
"""Those of LANGUAGES in which the pages of staff are whole."""
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = Path(env.read_text("STATIC_ROOT", str(DATA_DIR / "static")))
STATICFILES_DIRS = [("plotly", _package_folder("plotly") / "package_data")]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "homedialysis.web.static_storage.HashedStatic"
        if env.read_flag("HASHED_STATIC", default=not DEBUG)
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = ["gz", "br", "png", "ico", "csv"]
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# An empty style element is what Plotly adds before it inserts its rules by script; its hash lets the rules in.
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
# The rules of maps, which Plotly's script brings as a style whether or not there is a map; changes with its version.
MAPS_STYLE = "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, EMPTY_STYLE, MAPS_STYLE],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
# Our proxy overwrites what a visitor sends in this header.
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_SAMESITE = "Lax"

EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if env.read_text("EMAIL_HOST")
    else "django.core.mail.backends.console.EmailBackend"
)
EMAIL_HOST = env.read_text("EMAIL_HOST")
EMAIL_PORT = env.read_number("EMAIL_PORT", default=587)
EMAIL_HOST_USER = env.read_text("EMAIL_USER")
EMAIL_HOST_PASSWORD = env.read_secret("EMAIL_PASSWORD")
EMAIL_USE_SSL = env.read_flag("EMAIL_SSL", default=False)
"""TLS from the first byte (port 465); EMAIL_TLS begins plain and changes over (port 587)."""
EMAIL_USE_TLS = env.read_flag("EMAIL_TLS", default=not EMAIL_USE_SSL)
DEFAULT_FROM_EMAIL = env.read_text("EMAIL_FROM", f"home-dialysis@{SITE_HOST}")
EMAIL_TIMEOUT = 10
PUSH_KEY = env.read_secret("PUSH_KEY")
"""By which push services know this installation; without it, a file that make_push_keys wrote is looked for."""

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "homedialysis.running.log_format.JsonLines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "root": {"handlers": ["console"], "level": env.read_text("LOG_LEVEL", "INFO")},
}
SILENCED_SYSTEM_CHECKS: list[str] = []
