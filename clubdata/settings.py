"""One file, driven by the environment; README.md lists the variables.

Without `CLUBDATA_DEMO=1` a missing secret, DEBUG or wildcard hosts is refused, so that nobody
serves a club's records with the demo's comforts switched on.
"""

import os
import secrets
from pathlib import Path
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from clubdata.services.forecasts import checked_address

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(os.environ.get("CLUBDATA_VAR", BASE_DIR / "var"))
DEMO = os.environ.get("CLUBDATA_DEMO") == "1"

DEBUG = os.environ.get("CLUBDATA_DEBUG") == "1"
ALLOWED_HOSTS = [host for host in os.environ.get("CLUBDATA_HOSTS", "").split(",") if host]
SECRET_KEY = os.environ.get("CLUBDATA_SECRET", "")


def _demo_secret() -> str:
    """The demo's secret: made once, kept among its own files and readable by their owner alone."""
    path = VAR_DIR / "secret"
    VAR_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(50))
    return path.read_text()


if DEMO:
    SECRET_KEY = SECRET_KEY or _demo_secret()
    ALLOWED_HOSTS = ALLOWED_HOSTS or ["127.0.0.1", "localhost"]
elif DEBUG or "*" in ALLOWED_HOSTS:
    raise ImproperlyConfigured("DEBUG and wildcard hosts are for the demo only (CLUBDATA_DEMO=1).")
elif not SECRET_KEY:
    raise ImproperlyConfigured(
        "Set CLUBDATA_SECRET to a long random string (or CLUBDATA_DEMO=1 on your own machine)."
    )

INSTALLED_APPS = [
    "clubdata.apps.ClubdataConfig",
    "analytics.apps.AnalyticsConfig",
    "api.apps.ApiConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]

MIDDLEWARE = [
    "api.middleware.SafetyHeadersMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "api.middleware.RequestLogMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "api.login_backend.SlowedSignInMiddleware",
]

ROOT_URLCONF = "api.urls"
WSGI_APPLICATION = "api.wsgi.application"
AUTH_USER_MODEL = "clubdata.Account"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]

# --- Database -------------------------------------------------------------------------------------
# SQLite waits for its one writer instead of failing, and reads go on meanwhile.
_SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON; "
    # What is deleted is overwritten: an erased member is in no freed page either.
    "PRAGMA secure_delete=ON;",
}


_LET_GO = "-c idle_in_transaction_session_timeout=15000"


def _database() -> dict[str, Any]:
    url = os.environ.get("DATABASE_URL", f"sqlite:///{VAR_DIR / 'clubdata.sqlite3'}")
    config: dict[str, Any] = dict(dj_database_url.parse(url, conn_max_age=60))
    if config["ENGINE"].endswith("sqlite3"):
        VAR_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
        config["OPTIONS"] = {**config.get("OPTIONS", {}), **_SQLITE_OPTIONS}
    else:
        config["CONN_HEALTH_CHECKS"] = True
        # A worker that stands still inside a transaction holds its job's row: the server lets go of it,
        # so that the job can be taken back.
        config["OPTIONS"] = {**config.get("OPTIONS", {}), "options": _LET_GO}
    return config


DATABASES = {"default": _database()}

# --- Callers: how many requests a minute an account may make (0: any number), and who tells its address --
READS_A_MINUTE = int(os.environ.get("CLUBDATA_READS_A_MINUTE", "600"))
WRITES_A_MINUTE = int(os.environ.get("CLUBDATA_WRITES_A_MINUTE", "120"))
#: How many proxies of our own stand before the service: the last of them wrote the client's address.
TRUSTED_PROXIES = int(os.environ.get("CLUBDATA_PROXIES", "0"))


def _cache() -> dict[str, Any]:
    """Counts are shared through Redis where there is one; without, each process has its own."""
    url = os.environ.get("BROKER_URL", "")
    if url.startswith(("redis://", "rediss://")):
        # Nobody waits long for a count: without one, answers go on.
        patience = {"socket_timeout": 0.25, "socket_connect_timeout": 0.25}
        return {
            "BACKEND": "api.caches.CountingRedisCache",
            "LOCATION": url,
            "KEY_PREFIX": "clubdata",
            "OPTIONS": patience,
        }
    return {"BACKEND": "api.caches.CountingLocalCache", "OPTIONS": {"MAX_ENTRIES": 20_000}}


CACHES = {"default": _cache()}

# --- Queue: the job's row is the truth, the broker is a doorbell ------------------------------------
BROKER_URL = os.environ.get("BROKER_URL", "filesystem://")
BROKER_DIR = VAR_DIR / "broker"
JOB_HARD_LIMIT_S = int(os.environ.get("CLUBDATA_JOB_HARD_LIMIT_S", "1800"))
JOB_LEASE_S = int(os.environ.get("CLUBDATA_JOB_LEASE_S", "20"))
JOB_ATTEMPTS = 3
JOB_REAP_EVERY_S = int(os.environ.get("CLUBDATA_JOB_REAP_EVERY_S", "10"))
REFIT_EVERY_S = int(os.environ.get("CLUBDATA_REFIT_EVERY_S", "900"))
# How often a web process looks whether a new fit is served, to read it before anyone asks; 0 for never.
ANSWERS_AHEAD_S = 0.5
# An open forecast service to ask for weather that nobody typed; empty asks nobody.
FORECAST_URL = os.environ.get("CLUBDATA_FORECAST_URL", "")
if FORECAST_URL:
    try:
        checked_address(FORECAST_URL)
    except ValueError as fault:
        raise ImproperlyConfigured(f"CLUBDATA_FORECAST_URL: {fault}.") from None
UPLOAD_DIR = VAR_DIR / "uploads"
UPLOAD_LIMIT_BYTES = 50 * 1024 * 1024


# --- Retention: for how many days what is not kept for good is kept (clubdata.services.retention) -----
def _days(kind: str, usual: int) -> int:
    name = f"CLUBDATA_KEEP_{kind.upper()}_DAYS"
    text = os.environ.get(name, str(usual))
    if not (text.isascii() and text.isdigit() and 0 < int(text) <= 36_500):
        raise ImproperlyConfigured(f"{name}: a whole number of days from 1 to 36500 is wanted.")
    return int(text)


KEEP_DAYS = {
    kind: _days(kind, days)
    for kind, days in {
        "replies": 2,
        "sheets": 30,
        "reports": 400,
        "sign_ins": 180,
        "tokens": 90,
        "invitations": 30,
        "removed_returns": 400,
    }.items()
}

# --- Words, time ------------------------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

# --- Files, cookies, headers ------------------------------------------------------------------------
STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False

LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "docs"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if not DEMO:
    SECURE_SSL_REDIRECT = os.environ.get("CLUBDATA_PLAIN_HTTP") != "1"
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31536000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True

AUTHENTICATION_BACKENDS = ["api.login_backend.CountedBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

# --- API --------------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.ClubdataSchema",
    "EXCEPTION_HANDLER": "api.errors.problem_response",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "COERCE_DECIMAL_TO_STRING": False,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}

SPECTACULAR_SETTINGS = {
    "TITLE": "clubdata",
    "DESCRIPTION": "A coarse-angling club's catch returns, and the answers they hold.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "ShotSize": "api.serializers.plan.SHOT_SIZES",
        "WaterKind": "clubdata.models.WaterKind",
        "WaterEventKind": "clubdata.models.WaterEventKind",
        "JobKind": "clubdata.models.JobKind",
        "Outcome": "clubdata.models.Outcome",
        "SignInOutcome": "clubdata.models.SignInOutcome",
        "ReturnSource": "clubdata.models.Source",
        "AttendanceSource": "clubdata.models.AttendanceSource",
        "JobState": "clubdata.models.JobState",
        "AmendmentKind": "clubdata.models.AmendmentKind",
        "AmendmentState": "clubdata.models.AmendmentState",
        "DoubtState": "clubdata.models.DoubtState",
        "FitVerdict": "analytics.catchrate.verdict.VERDICTS",
    },
}

# --- Logs: ids, never names, notes or tokens ---------------------------------------------------------
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "clubdata.logs.JsonFormatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    # The framework's lines quote whole paths; `api.middleware` logs every request by its route instead.
    "loggers": {"django.request": {"level": "CRITICAL"}},
    "root": {"handlers": ["stderr"], "level": os.environ.get("CLUBDATA_LOG_LEVEL", "INFO")},
}
