"""Exit 0 when the PostgreSQL and Redis named for the tests answer; say which does not."""

from __future__ import annotations

import os
import sys


def main() -> int:
    import psycopg
    import redis

    missing = []
    try:
        psycopg.connect(os.environ["HINGEBACK_TEST_DATABASE_URL"], connect_timeout=3).close()
    except psycopg.Error:
        missing.append("PostgreSQL")
    try:
        redis.Redis.from_url(os.environ["HINGEBACK_TEST_REDIS_URL"], socket_timeout=3).ping()
    except redis.RedisError:
        missing.append("Redis")
    if missing:
        sys.stdout.write(f"No answer from {' and '.join(missing)}.\n")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
