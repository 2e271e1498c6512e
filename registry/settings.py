"""Settings, from the environment.  Every BENCHQUORUM_* name is explained in README.md, § Settings."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from registry.secret_key import secret_key
from registry.stores import cache, database, mail

env = environ.Env()
BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(env.str("BENCHQUORUM_DATA", "") or BASE_DIR / "var").resolve()

DEBUG = env.bool("BENCHQUORUM_DEBUG", False)

THIS_MACHINE = ["localhost", "127.0.0.1", "[::1]"]
ALLOWED_HOSTS = env.list("BENCHQUORUM_HOSTS", default=THIS_MACHINE)
CSRF_TRUSTED_ORIGINS = env.list("BENCHQUORUM_ORIGINS", default=[])
BEHIND_TLS = env.bool("BENCHQUORUM_TLS", False)

REACHED_BY_OTHERS = BEHIND_TLS or not set(ALLOWED_HOSTS) <= set(THIS_MACHINE)
SECRET_KEY = secret_key(DATA_DIR, needed=REACHED_BY_OTHERS and not DEBUG)
# Under TLS a browser takes cookies of such names from this very host only, and sends them encrypted only.
COOKIE_PREFIX = "__Host-" if BEHIND_TLS else ""

BENCHQUORUM_ORIGIN = env.str("BENCHQUORUM_ORIGIN", "local")
BENCHQUORUM_DATA_LICENCE = env.str("BENCHQUORUM_DATA_LICENCE", "CC-BY-SA-4.0")
BENCHQUORUM_REMOVAL_ADDRESS = env.str("BENCHQUORUM_REMOVAL_ADDRESS", "removal@registry.example")
BENCHQUORUM_REPLY_DAYS = env.int("BENCHQUORUM_REPLY_DAYS", 7)  # right of reply, and the one moderator's wait
# Against floods; 0: no limit.  Sheets a day of a new account (older ones several times that); accounts a day
# from one block of addresses.
BENCHQUORUM_NEW_SHEETS = env.int("BENCHQUORUM_NEW_SHEETS", 0 if DEBUG else 50)
BENCHQUORUM_GUEST_JOBS = env.int("BENCHQUORUM_GUEST_JOBS", 0 if DEBUG else 30)
BENCHQUORUM_SIGN_UPS = env.int("BENCHQUORUM_SIGN_UPS", 0 if DEBUG else 5)
# A session ends after so long without a request, and after so long in all; a moderator's sooner.
BENCHQUORUM_IDLE_HOURS = env.float("BENCHQUORUM_IDLE_HOURS", 72.0)
BENCHQUORUM_SESSION_DAYS = env.float("BENCHQUORUM_SESSION_DAYS", 14.0)
BENCHQUORUM_MODERATOR_MFA = env.bool("BENCHQUORUM_MODERATOR_MFA", not DEBUG)
BENCHQUORUM_METRICS_TOKEN = env.str("BENCHQUORUM_METRICS_TOKEN", "")  # empty: this machine only
BENCHQUORUM_LEAVING = env.str("BENCHQUORUM_LEAVING", "")  # a file; while it is there this server isn't ready
BENCHQUORUM_WEBHOOK_PRIVATE = env.bool("BENCHQUORUM_WEBHOOK_PRIVATE", False)  # may go to one's own network
BENCHQUORUM_UPLOAD_BYTES = env.int("BENCHQUORUM_UPLOAD_BYTES", 10_000_000)

INSTALLED_APPS = [
    "registry.apps.RegistryConfig",
    "api.apps.ApiConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "axes",
    "csp",
    "django_filters",
    "django_htmx",
    "django_tasks",
    "django_tasks_db",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "knox",
    "rest_framework",
    "template_partials",
]

MIDDLEWARE = [
    "registry.request_log.RequestLog",
    "registry.middleware.Headers",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "api.middleware.ApiAnswers",
    "csp.middleware.CSPMiddleware",
    "registry.middleware.PlainErrors",
    "registry.compression.Compressed",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "registry.body_sizes.BodySizes",
    "django.middleware.csrf.CsrfViewMiddleware",
    "registry.plain_forms.PlainForms",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "registry.sessions.SessionEnds",
    "registry.pages.preferences.ReaderLanguage",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "registry.urls"
WSGI_APPLICATION = "registry.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "registry.pages.context.registry_facts",
            ],
        },
    }
]

DATABASES = {"default": database(env.str("DATABASE_URL", ""), DATA_DIR)}
BENCHQUORUM_POOLER = env.str("BENCHQUORUM_POOLER", "")  # of the same database, for the requests of servers
# Rate limits count here.  In memory each server process counts by itself; a shared store makes them one.
CACHES = {"default": cache(env.cache("BENCHQUORUM_CACHE", default="locmemcache://"))}
DJANGO_REDIS_LOG_IGNORED_EXCEPTIONS = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Background work: at once in the embedded default, otherwise a durable queue (`benchquorum work`).
TASKS_QUEUE = env.str("BENCHQUORUM_QUEUE", "immediate")
if TASKS_QUEUE not in ("immediate", "database"):
    raise ImproperlyConfigured("BENCHQUORUM_QUEUE is neither “immediate” nor “database”.")
TASKS = {
    "default": {
        "BACKEND": "django_tasks.backends.immediate.ImmediateBackend"
        if TASKS_QUEUE == "immediate"
        else "django_tasks_db.DatabaseBackend"
    }
}
# A worker without a sign of life for so long is taken for dead; it gives five of them in that time.
BENCHQUORUM_WORKER_SILENT = env.float("BENCHQUORUM_WORKER_SILENT", 25.0)
BENCHQUORUM_TASK_SECONDS = env.int("BENCHQUORUM_TASK_SECONDS", 900)  # no honest task takes longer

AUTH_USER_MODEL = "registry.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "allauth.account.auth_backends.AuthenticationBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_REDIRECT_URL = "front"
LOGIN_URL = "account_login"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "optional" if DEBUG else "mandatory"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_LOGOUT_ON_GET = False
ACCOUNT_REAUTHENTICATION_REQUIRED = True  # before a password, an address or a second factor is changed
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300  # s
ACCOUNT_ADAPTER = "registry.accounts.AccountAdapter"
ACCOUNT_FORMS = {"signup": "registry.sign_up_form.SignUpForm"}
ALLAUTH_TRUSTED_PROXY_COUNT = env.int("BENCHQUORUM_PROXIES", 0)  # 0: the address is the peer's
MFA_SUPPORTED_TYPES = ["webauthn", "totp", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = DEBUG  # browsers themselves allow it on localhost only
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_FORM_FIELD = "login"
AXES_USERNAME_CALLABLE = "registry.sign_in.account_tried"
AXES_CLIENT_IP_CALLABLE = "registry.sign_in.address_tried_from"
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "login", "email"]  # hidden in its tables and log lines
AXES_VERBOSE = False
# Whoever sends mail writes it into the queue's table; from there it goes to the server of the address.
EMAIL_BACKEND = "registry.services.mail.Outbox"
_taker = mail(env.email_url("BENCHQUORUM_EMAIL_URL", default="consolemail://"))
BENCHQUORUM_EMAIL_BACKEND = env.str("BENCHQUORUM_EMAIL_BACKEND", "") or _taker["EMAIL_BACKEND"]
EMAIL_HOST, EMAIL_PORT = _taker["EMAIL_HOST"], _taker["EMAIL_PORT"]
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = _taker["EMAIL_HOST_USER"], _taker["EMAIL_HOST_PASSWORD"]
EMAIL_USE_TLS, EMAIL_USE_SSL = _taker["EMAIL_USE_TLS"], _taker["EMAIL_USE_SSL"]
EMAIL_FILE_PATH = _taker["EMAIL_FILE_PATH"]
EMAIL_TIMEOUT = env.float("BENCHQUORUM_EMAIL_TIMEOUT", 10.0)  # s, for each word with the server
DEFAULT_FROM_EMAIL = env.str("BENCHQUORUM_FROM", "benchquorum@registry.example")

KNOX_TOKEN_MODEL = "registry.ApiToken"  # noqa: S105  a model's name
# Our own token model takes the place of the library's, whose table would only be in the way of a flush.
MIGRATION_MODULES = {"knox": None}
REST_KNOX = {"TOKEN_TTL": timedelta(days=365), "AUTH_HEADER_PREFIX": "Token"}

# Closed by default: an address of the API opens only what its own `rules` name.
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.TokenAuthentication",
        "api.authentication.Session",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["api.permissions.ByRule"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_CONTENT_NEGOTIATION_CLASS": "api.negotiation.ByWeight",
    "DEFAULT_PARSER_CLASSES": ["api.parsers.StrictJSON"],
    "DEFAULT_FILTER_BACKENDS": ["api.filters.StrictFilters"],
    "DEFAULT_SCHEMA_CLASS": "api.description.schema.ApiSchema",
    "DEFAULT_THROTTLE_CLASSES": ["api.throttles.CallerThrottle"],
    "DEFAULT_THROTTLE_RATES": {
        "anon": env.str("BENCHQUORUM_RATE_GUEST", "1000000/hour" if DEBUG else "6000/hour"),
        "user": env.str("BENCHQUORUM_RATE_ACCOUNT", "1000000/hour" if DEBUG else "20000/hour"),
    },
    # How many proxies stand before the server; 0: the address is the peer's, whatever it claims.
    "NUM_PROXIES": env.int("BENCHQUORUM_PROXIES", 0),
    "DEFAULT_PAGINATION_CLASS": "api.pagination.StablePages",
    "PAGE_SIZE": 50,
    "EXCEPTION_HANDLER": "api.errors.problem_details",
    "URL_FORMAT_OVERRIDE": None,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Benchquorum API",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "DESCRIPTION": "Agreed continuity patterns of multi-position lever switches. "
    "A chart is evidence, never a certificate.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": [],  # choices stay beside their field, under no invented name
}

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch"), ("es", "Español")]  # each in its own words
LANGUAGE_COOKIE_NAME = f"{COOKIE_PREFIX}language"
LOCALE_PATHS = [BASE_DIR / "registry" / "locale"]
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # the file server warns where it is missing
STATICFILES_DIRS: list[Path] = []
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True  # no collectstatic step: the wheel's own files are served
WHITENOISE_AUTOREFRESH = DEBUG
MEDIA_ROOT = DATA_DIR / "uploads"
MEDIA_URL = "/uploads/"
DATA_UPLOAD_MAX_MEMORY_SIZE = BENCHQUORUM_UPLOAD_BYTES  # of words; with files: registry/body_sizes.py
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = BEHIND_TLS
SECURE_REDIRECT_EXEMPT = [r"^health/", r"^metrics$"]  # asked on this machine, past the proxy with its TLS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = f"{COOKIE_PREFIX}sessionid", f"{COOKIE_PREFIX}csrftoken"
MESSAGE_STORAGE = "registry.sessions.MessagesKept"
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = BEHIND_TLS
if BEHIND_TLS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"

LOG_FORMAT = env.str("BENCHQUORUM_LOG_FORMAT", "plain" if DEBUG else "json")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
        "json": {"()": "registry.log_lines.JsonLines"},
    },
    "filters": {"links": {"()": "registry.request_log.HidesLinks"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT, "filters": ["links"]}
    },
    "root": {"handlers": ["console"], "level": env.str("BENCHQUORUM_LOG", "WARNING")},
    # one line a request where lines are read by a machine
    "loggers": {
        "registry.request": {"level": "INFO" if LOG_FORMAT == "json" else "WARNING"},
        "django.request": {"level": "CRITICAL"},  # the same again, without an id
    },
}
