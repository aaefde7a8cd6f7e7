"""Tells Django that this package is an application."""

from django.apps import AppConfig


class KittingConfig(AppConfig):
    """From a cable schedule to kits, shortages and reorders."""

    name = "kitting"
