"""The product's own settings, with the benchmark's addresses."""

from clubdata.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.serving_site"
