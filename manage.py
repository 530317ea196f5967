#!/usr/bin/env python
"""The one door to every command: `uv run manage.py demo` sets the whole thing going."""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line

LOCAL_COMMANDS = {
    "demo",
    "migrate",
    "setup_club",
    "import_returns",
    "fit_club",
    "open_login",
    "createsuperuser",
    "makemigrations",
    "spectacular",
}

if __name__ == "__main__":
    # More linear-algebra threads than one a process slow the fit down and change its last digits.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    # These serve nobody: on a machine that was told nothing they work on the demo's own files.
    if sys.argv[1:2] and sys.argv[1] in LOCAL_COMMANDS and "CLUBDATA_SECRET" not in os.environ:
        os.environ.setdefault("CLUBDATA_DEMO", "1")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")
    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as refusal:
        sys.exit(f"{refusal}")
