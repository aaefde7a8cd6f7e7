"""Reads of the records of jobs."""
