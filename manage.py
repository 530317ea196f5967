#!/usr/bin/env python
"""The one door to every command: `uv run manage.py demo` sets the whole thing going."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    # More linear-algebra threads than one a process slow the fit down and change its last digits.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    if sys.argv[1:2] == ["demo"]:
        os.environ.setdefault("CLUBDATA_DEMO", "1")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")
    execute_from_command_line(sys.argv)
