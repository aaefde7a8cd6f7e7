"""Django's settings. Secrets come from the environment and are never written down here."""

import os
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parents[2]

DEBUG = os.environ.get("KITTING_DEBUG") == "yes"
# Without a key of its own every process makes one: enough for commands, and nothing to steal.
SECRET_KEY = os.environ.get("KITTING_SECRET_KEY") or get_random_secret_key()
ALLOWED_HOSTS = os.environ.get("KITTING_HOSTS", "localhost 127.0.0.1 [::1]").split()

INSTALLED_APPS = [
    "kitting", "inventory", "jobs",
    "django.contrib.auth", "django.contrib.contenttypes", "django.contrib.sessions", "django.contrib.messages",
    "django.contrib.staticfiles", "axes",
]  # fmt: skip
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "kitting.server.content_policy.content_policy",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",  # weak signals: a page of a thousand jobs is sent in a tenth
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "kitting.server.urls"
WSGI_APPLICATION = "kitting.server.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]
STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True  # files are served from the package, so nothing has to be collected

# Who signs in, and how often they may mistype: five times, then a quarter of an hour of silence.
AUTH_USER_MODEL = "kitting.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
    "kitting.server.pin.PinBackend",
]
LOGIN_URL = "sign-in"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_FORM_FIELD = "username"
AXES_VERBOSE = False
AXES_LOCKOUT_CALLABLE = "kitting.pages.signing_in.locked_out"
SESSION_COOKIE_AGE = 12 * 60 * 60  # a long shift
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Strict"
# Behind a server that speaks HTTPS to the world, cookies go nowhere else.
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = os.environ.get("KITTING_HTTPS") == "yes"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if SESSION_COOKIE_SECURE else None
CSRF_FAILURE_VIEW = "kitting.pages.errors.out_of_date_form"
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

SQLITE, POSTGRESQL = "django.db.backends.sqlite3", "django.db.backends.postgresql"


def books(environment: Mapping[str, str]) -> dict[str, Any]:
    """Where the records lie: on the PostgreSQL server that ``DATABASE_URL`` names, else in a SQLite file.

    The file lies in the folder that ``KITTING_DATA`` names, else beside ``manage.py``.

    Raises:
        ImproperlyConfigured: ``DATABASE_URL`` names something else than PostgreSQL.
    """
    folder, url = environment.get("KITTING_DATA"), environment.get("DATABASE_URL")
    if not url:
        return {
            "ENGINE": SQLITE,
            "NAME": Path(folder) / "kitting.sqlite3" if folder else BASE_DIR / ".kitting.sqlite3",
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",  # a writer waits at its first line, not when it has read what is stale
                "timeout": 20,
                # With recursive triggers a REPLACE, which deletes the old row, is a change of what is append-only too.
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON; "
                "PRAGMA recursive_triggers=ON;",
            },
        }
    named = dict(dj_database_url.parse(url))
    if named["ENGINE"] != POSTGRESQL:
        raise ImproperlyConfigured(
            "DATABASE_URL must name a PostgreSQL server, as in postgres://user@host/name; without it SQLite is used"
        )
    return named


DATABASES = {"default": books(os.environ)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

LANGUAGE_CODE = "en-us"
TIME_ZONE = "UTC"
USE_TZ = True

# Notices stand on the pages; where a mail server is named, the urgent ones are mailed as well.
EMAIL_HOST = os.environ.get("KITTING_MAIL_HOST", "")
MAILS_NOTICES = bool(EMAIL_HOST)
EMAIL_PORT = int(os.environ.get("KITTING_MAIL_PORT", "25"))
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = (os.environ.get(f"KITTING_MAIL_{name}", "") for name in ("USER", "PASSWORD"))
EMAIL_USE_TLS = os.environ.get("KITTING_MAIL_TLS") == "yes"
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = os.environ.get("KITTING_MAIL_FROM", "kitting@localhost")

# Long work is done by ``manage.py work``; tests do it in the request that asks for it.
ERRANDS_AT_ONCE = False
