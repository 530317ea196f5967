"""Stages: files with SQLite, which need no server, and PostgreSQL with Redis where they are named."""

import os
import shutil
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest
import redis

from tests.services.stage import Stage, stage_environ

SERVERS = pytest.param("servers", marks=[pytest.mark.postgresql, pytest.mark.redis])
# Where a stage on files keeps its records, in its folder.
DATABASE = Path("var/clubdata.sqlite3")
# Redis databases of the tests' own, one for each process that runs tests at the same time.
FIRST_REDIS_NUMBER = 8
REDIS_NUMBERS = 8


def _redis_number() -> int:
    process = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    return FIRST_REDIS_NUMBER + process % REDIS_NUMBERS


def _open(stage: Stage) -> None:
    """Migrate a stage's database and set the demo's club up in it, once for all stages that are its copies.

    To a stage's own `open_club` little is left to do.
    """
    stage.office()("open_club")
    stage.close()


@pytest.fixture(scope="session")
def opened_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The database of a club that was opened on files."""
    folder = tmp_path_factory.mktemp("opened")
    _open(Stage(environ=stage_environ(folder), folder=folder))
    # One file holds all of it once nothing is left in the write-ahead log.
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder / DATABASE


@pytest.fixture
def files(tmp_path: Path, opened_file: Path) -> Iterator[Stage]:
    """SQLite and the file-system broker."""
    (tmp_path / DATABASE).parent.mkdir()
    shutil.copyfile(opened_file, tmp_path / DATABASE)
    stage = Stage(environ=stage_environ(tmp_path), folder=tmp_path)
    yield stage
    stage.close()


@contextmanager
def _database(server_url: str, *, copy_of: str = "template1") -> Iterator[str]:
    """A database on the server, by its name."""
    name = f"services_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server_url, autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}" TEMPLATE "{copy_of}"')
    try:
        yield name
    finally:
        with psycopg.connect(server_url, autocommit=True) as server:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def _servers_environ(folder: Path, database: str) -> dict[str, str]:
    database_url, broker_url = os.environ["DATABASE_URL"], os.environ["BROKER_URL"]
    return stage_environ(
        folder,
        DATABASE_URL=f"{database_url.rsplit('/', 1)[0]}/{database}",
        BROKER_URL=f"{broker_url.rsplit('/', 1)[0]}/{_redis_number()}",
    )


@pytest.fixture(scope="session")
def opened_database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of the database of a club that was opened on the PostgreSQL of DATABASE_URL."""
    database_url, broker_url = os.environ.get("DATABASE_URL", ""), os.environ.get("BROKER_URL", "")
    if not (database_url.startswith("postgres") and broker_url.startswith("redis")):
        pytest.skip("DATABASE_URL and BROKER_URL name no PostgreSQL and no Redis")
    folder = tmp_path_factory.mktemp("opened")
    with _database(database_url) as name:
        _open(Stage(environ=_servers_environ(folder, name), folder=folder))
        yield name


@pytest.fixture
def servers(tmp_path: Path, opened_database: str) -> Iterator[Stage]:
    """A database of its own on the PostgreSQL of DATABASE_URL, and the Redis of BROKER_URL."""
    with _database(os.environ["DATABASE_URL"], copy_of=opened_database) as name:
        environ = _servers_environ(tmp_path, name)
        with redis.Redis.from_url(environ["BROKER_URL"]) as client:
            client.flushdb()
        stage = Stage(environ=environ, folder=tmp_path)
        yield stage
        stage.close()


@pytest.fixture(params=["files", SERVERS])
def stage(request: pytest.FixtureRequest) -> Stage:
    """Either kind of stage."""
    found: Stage = request.getfixturevalue(request.param)
    return found
