"""The product's own settings, with the benchmark's addresses."""

from clubdata.settings import *  # noqa: F403

READS_A_MINUTE = WRITES_A_MINUTE = 0
ROOT_URLCONF = "tests.benchmarks.serving_site"
