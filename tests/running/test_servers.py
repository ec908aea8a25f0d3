"""The servers that tests and `make stack` start: real, private, and gone afterwards."""

import os
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest
import redis as redis_client

from running import postgres, redis
from running.processes import NotReady, free_port, port_is_free, start, wait_until

pytestmark = pytest.mark.slow


def test_postgres_starts_wants_its_password_and_is_gone_afterwards():
    with postgres.running() as url:
        with psycopg.connect(url) as connection:
            assert connection.execute("SELECT lower('É'), current_database()").fetchone() == ("é", "soundjoint")
        with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
            psycopg.connect(url.replace(":", ":not-", 2).replace("postgres:not-", "postgres:"))
    with pytest.raises(psycopg.OperationalError):
        psycopg.connect(url, connect_timeout=2)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root needs another user for PostgreSQL")
def test_postgres_starts_for_root_where_its_own_user_cannot_read_the_binaries(monkeypatch):
    real, installed = postgres._others_can_enter, postgres.binaries()
    monkeypatch.setattr(postgres, "_others_can_enter", lambda folder: folder != installed and real(folder))
    with postgres.running() as url, psycopg.connect(url) as connection:
        where = connection.execute("SHOW data_directory").fetchone()[0]
        server = Path(f"/proc/{connection.execute('SELECT pg_backend_pid()').fetchone()[0]}/exe").resolve()
    assert server.is_relative_to(Path(where).parent)


def test_redis_starts_wants_its_password_and_is_gone_afterwards():
    with redis.running() as url:
        client = redis_client.from_url(url)
        assert client.ping()
        assert client.config_get("maxmemory-policy") == {"maxmemory-policy": "noeviction"}
        client.close()
        port = client.connection_pool.connection_kwargs["port"]
        assert not redis.answers(host="127.0.0.1", port=port, password="another")
    assert port_is_free(port)


def test_a_command_is_given_the_servers_and_its_exit_code_comes_back():
    script = (
        "import os, sys, psycopg, redis;"
        "psycopg.connect(os.environ['DATABASE_URL']).close();"
        "redis.from_url(os.environ['REDIS_URL']).ping();"
        "sys.exit(7)"
    )
    env = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL"}}
    done = subprocess.run([sys.executable, "-m", "running.with_servers", "--", sys.executable, "-c", script], env=env)
    assert done.returncode == 7


def test_servers_that_are_given_are_used_as_they_are():
    script = "import os; print(os.environ['DATABASE_URL'], os.environ['REDIS_URL'])"
    env = {**os.environ, "DATABASE_URL": "postgres://given", "REDIS_URL": "redis://given"}
    command = [sys.executable, "-m", "running.with_servers", "--", sys.executable, "-c", script]
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert done.stdout.split() == ["postgres://given", "redis://given"]


def test_a_server_that_dies_at_once_is_reported_and_not_waited_for():
    child = start("early", [sys.executable, "-c", "raise SystemExit(3)"])
    with pytest.raises(NotReady, match="ended with code 3"):
        wait_until(lambda: False, what="early", child=child)
    child.stop()


def test_a_port_in_use_is_seen():
    import socket

    port = free_port()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        assert not port_is_free(port)
