"""Stages: files with SQLite, which need no server, and PostgreSQL with Redis where they are named."""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis

from tests.services.stage import Stage, stage_environ

SERVERS = pytest.param("servers", marks=[pytest.mark.postgresql, pytest.mark.redis])
# Redis databases of the tests' own, one for each process that runs tests at the same time.
FIRST_REDIS_NUMBER = 8
REDIS_NUMBERS = 8


def _redis_number() -> int:
    process = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    return FIRST_REDIS_NUMBER + process % REDIS_NUMBERS


@pytest.fixture
def files(tmp_path: Path) -> Iterator[Stage]:
    """SQLite and the file-system broker."""
    stage = Stage(environ=stage_environ(tmp_path), folder=tmp_path)
    yield stage
    stage.close()


@pytest.fixture
def servers(tmp_path: Path) -> Iterator[Stage]:
    """A fresh database on the PostgreSQL of DATABASE_URL, and the Redis of BROKER_URL."""
    database_url, broker_url = os.environ.get("DATABASE_URL", ""), os.environ.get("BROKER_URL", "")
    if not (database_url.startswith("postgres") and broker_url.startswith("redis")):
        pytest.skip("DATABASE_URL and BROKER_URL name no PostgreSQL and no Redis")
    name = f"services_{uuid.uuid4().hex[:12]}"
    own_broker = f"{broker_url.rsplit('/', 1)[0]}/{_redis_number()}"
    with redis.Redis.from_url(own_broker) as client:
        client.flushdb()
    with psycopg.connect(database_url, autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}"')
    own_database = f"{database_url.rsplit('/', 1)[0]}/{name}"
    environ = stage_environ(tmp_path, DATABASE_URL=own_database, BROKER_URL=own_broker)
    stage = Stage(environ=environ, folder=tmp_path)
    yield stage
    stage.close()
    with psycopg.connect(database_url, autocommit=True) as server:
        server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(params=["files", SERVERS])
def stage(request: pytest.FixtureRequest) -> Stage:
    """Either kind of stage."""
    found: Stage = request.getfixturevalue(request.param)
    return found
