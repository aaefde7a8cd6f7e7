"""Writes of the records: one use case a module."""
