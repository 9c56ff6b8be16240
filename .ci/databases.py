"""Wait for the services of a check run, and drop the databases that its tests made."""

import sys
import time

import psycopg
import redis
from psycopg import sql

SERVER = "postgresql://postgres@127.0.0.1:5432/postgres"
QUEUE = "redis://127.0.0.1:6379/9"
SECONDS = 30


def wait() -> None:
    """Return when both services answer; give up after half a minute."""
    end = time.monotonic() + SECONDS
    while True:
        try:
            psycopg.connect(SERVER, connect_timeout=2).close()
            redis.Redis.from_url(QUEUE).ping()
        except (psycopg.OperationalError, redis.ConnectionError) as error:
            if time.monotonic() > end:
                sys.exit(f"A service does not answer: {error}")
            time.sleep(0.2)
        else:
            return


def drop(name: str) -> None:
    """Drop the databases that tests made for this run: one for each test process."""
    with psycopg.connect(SERVER, autocommit=True) as server:
        found = server.execute(
            "SELECT datname FROM pg_database WHERE datname LIKE %s", [f"test_{name}%"]
        )
        for (database,) in found.fetchall():
            command = sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(database))
            server.execute(command)


if __name__ == "__main__":
    if sys.argv[1] == "wait":
        wait()
    else:
        drop(sys.argv[2])
