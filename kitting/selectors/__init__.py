"""Reads of the records: what planning and people want to see of them."""
