"""The one entry for commands: ``python manage.py plan``, ``python manage.py demo`` and Django's own."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kitting.server.settings")
    execute_from_command_line(sys.argv)
