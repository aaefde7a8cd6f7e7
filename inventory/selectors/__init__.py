"""Reads of the warehouse, and what is fetched to be changed."""
