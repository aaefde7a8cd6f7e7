"""Writes of the records of jobs: one use case a module."""
