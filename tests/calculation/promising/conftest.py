"""Lets the tests of this folder import the cases that they share."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))
