"""The product's settings with the demo's comforts off and the tests' own files."""

import os
import tempfile

os.environ.setdefault("CLUBDATA_SECRET", "tests-only-" + "x" * 50)
os.environ.setdefault("CLUBDATA_PLAIN_HTTP", "1")
os.environ.setdefault("CLUBDATA_HOSTS", "testserver,127.0.0.1,localhost")
os.environ.setdefault("CLUBDATA_VAR", tempfile.mkdtemp(prefix="clubdata-tests-"))

# As in the worker: more threads than one a process slow the fit down and change its last digits.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

from clubdata.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

# Tests of the limits set their own.
READS_A_MINUTE = WRITES_A_MINUTE = 0

# A test's whole transaction may stand idle while it computes.
DATABASES["default"].get("OPTIONS", {}).pop("options", None)  # noqa: F405

# Each test client would read every asset of every application anew: only the test that is about them does.
WHITENOISE_USE_FINDERS = False

# Only the test that is about it looks ahead: a thread would see another connection's database.
ANSWERS_AHEAD_S = 0
