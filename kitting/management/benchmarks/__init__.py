"""Made-up data and runs for `manage.py benchmark`."""
