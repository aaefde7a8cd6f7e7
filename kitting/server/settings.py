"""Django's settings. Secrets come from the environment and are never written down here."""

import os
from pathlib import Path

from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parents[2]

DEBUG = os.environ.get("KITTING_DEBUG") == "yes"
# Without a key of its own every process makes one: enough for commands, and nothing to steal.
SECRET_KEY = os.environ.get("KITTING_SECRET_KEY") or get_random_secret_key()
ALLOWED_HOSTS = os.environ.get("KITTING_HOSTS", "localhost 127.0.0.1 [::1]").split()

INSTALLED_APPS = ["kitting", "inventory", "jobs"]

DATABASES = {
    "default": {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": BASE_DIR / ".kitting.sqlite3",
        "OPTIONS": {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
        },
    }
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

LANGUAGE_CODE = "en-us"
TIME_ZONE = "UTC"
USE_TZ = True
