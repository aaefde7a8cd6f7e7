"""Commands of the warehouse, and the trials that `manage.py stress` runs."""
