"""What people see and do in a browser; every page is a row of ``routes.py``, and what is not there is not served."""
