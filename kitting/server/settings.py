"""Django's settings. Secrets come from the environment and are never written down here."""

import os
from collections.abc import Mapping
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

INSTALLED_APPS = ["kitting", "inventory", "jobs"]

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
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
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
