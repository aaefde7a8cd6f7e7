"""Tells Django that this package is an application."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """Items, suppliers, depots, places, lots, movements and orders: records that know no other package."""

    name = "inventory"
