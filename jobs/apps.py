"""Tells Django that this package is an application."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Systems, cable types, reels, structures, positions, jobs and schedules: records that know no other package."""

    name = "jobs"
