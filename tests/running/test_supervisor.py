"""The supervisor keeps processes running, and leaves none behind."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime

import psycopg
import pytest

from running import postgres
from running import supervisor as kept
from running.heartbeats import age_of
from running.processes import ROOT, NotReady, start
from running.supervisor import Service, Supervisor, born, end_leftovers

SLEEPER = [sys.executable, "-c", "import time; time.sleep(600)"]


@pytest.fixture
def supervisor(tmp_path):
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    one = Supervisor(tmp_path)
    yield one
    one.stop()
    for number, handler in before.items():
        signal.signal(number, handler)


def until(what, seconds=20):
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.05)


def test_a_killed_process_is_started_again(supervisor, monkeypatch):
    monkeypatch.setattr(kept, "FIRST_WAIT_S", 0.1)
    supervisor.start(Service("sleeper", SLEEPER, os.environ))
    first = supervisor.services[0].child.process.pid
    watcher = threading.Thread(target=supervisor.watch)
    watcher.start()
    os.kill(first, signal.SIGKILL)
    until(lambda: supervisor.services[0].child and supervisor.services[0].child.process.pid != first)
    assert supervisor.services[0].child.alive()
    supervisor.ending.set()
    watcher.join()


def test_a_process_that_keeps_dying_is_started_again_more_and_more_seldom(supervisor, monkeypatch):
    now = [1000.0]
    monkeypatch.setattr(kept.time, "monotonic", lambda: now[0])
    service = Service("fails", [sys.executable, "-c", "raise SystemExit(1)"], os.environ)
    supervisor.start(service)
    waits = []
    for _ in range(7):
        service.child.process.wait()
        supervisor._mend(service)
        assert service.child is None, "it must wait first"
        waits.append(service.wait_s)
        now[0] += service.wait_s
        supervisor._mend(service)
    assert waits == [1, 2, 4, 8, 16, 30, 30]


def dies_at_first(folder, times):
    """A process that ends at once for the first ``times`` starts, and is ready after that; starts leave a line each."""
    starts, ready = folder / "starts", folder / "ready"
    script = (
        f"import os, pathlib, signal, time; starts = pathlib.Path({str(starts)!r});"
        "starts.open('a').write('started\\n');"
        f"len(starts.read_text().split()) > {times} or os.kill(os.getpid(), signal.SIGKILL);"
        f"pathlib.Path({str(ready)!r}).touch(); time.sleep(600)"
    )
    service = Service("web", [sys.executable, "-c", script], os.environ, ready.exists)
    return service, lambda: len(starts.read_text().split())


def test_a_process_killed_before_it_was_ready_is_started_again(supervisor, monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(kept, "FIRST_WAIT_S", 0.1)
    service, starts = dies_at_first(tmp_path, kept.FIRST_TRIES - 1)
    supervisor.start(service)
    assert service.child.alive()
    assert starts() == kept.FIRST_TRIES
    assert "ended with code -9 before it was ready" in capsys.readouterr().out


def test_a_process_that_never_gets_ready_is_given_up_and_said_so(supervisor, monkeypatch, tmp_path):
    monkeypatch.setattr(kept, "FIRST_WAIT_S", 0.1)
    service, starts = dies_at_first(tmp_path, 1000)
    with pytest.raises(NotReady, match=f"web .see {tmp_path}.*ended with code -9"):
        supervisor.start(service)
    assert starts() == kept.FIRST_TRIES


def test_one_that_runs_but_does_not_answer_is_not_waited_for_for_ever(supervisor, monkeypatch):
    monkeypatch.setattr(kept, "READY_WITHIN_S", 0.2)
    with pytest.raises(NotReady, match="did not answer within"):
        supervisor.start(Service("mute", SLEEPER, os.environ, lambda: False))


def test_a_signal_ends_the_wait_for_one_that_is_not_ready_yet(supervisor):
    supervisor.ending.clear()
    threading.Timer(0.2, supervisor.ending.set).start()
    began = time.monotonic()
    supervisor.start(Service("slow", SLEEPER, os.environ, lambda: False))
    assert time.monotonic() - began < kept.READY_WITHIN_S / 2


def test_stopping_ends_every_process_and_forgets_them(supervisor, tmp_path):
    supervisor.start(*(Service(f"sleeper{n}", SLEEPER, os.environ) for n in range(3)))
    supervisor.stop()
    assert not any(service.child.alive() for service in supervisor.services)
    assert not (tmp_path / "processes.json").exists()


def test_children_end_with_a_parent_that_was_killed():
    script = (
        "import sys, time; from running.processes import start;"
        "print(start('sleeper', [sys.executable, '-c', 'import time; time.sleep(600)']).process.pid, flush=True);"
        "time.sleep(600)"
    )
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, cwd=ROOT, text=True)
    pid = int(parent.stdout.readline())
    since = born(pid)
    assert since
    parent.kill()
    parent.communicate()
    until(lambda: born(pid) != since or kept._is_zombie(pid))


def test_what_a_killed_run_left_is_ended_but_a_stranger_with_the_same_id_is_not(tmp_path):
    left, stranger = start("left", SLEEPER), start("stranger", SLEEPER)
    known = {str(left.process.pid): born(left.process.pid), str(stranger.process.pid): "12345"}
    (tmp_path / "processes.json").write_text(json.dumps(known))
    end_leftovers(tmp_path)
    assert not left.alive()
    assert stranger.alive()
    stranger.stop()


def test_a_broken_list_of_processes_stops_nobody(tmp_path):
    running = start("running", SLEEPER)
    (tmp_path / "processes.json").write_text(f'{{"{running.process.pid}": "{born(running.process.pid)}"')
    end_leftovers(tmp_path)
    assert running.alive()
    running.stop()


# --- signs of life ----------------------------------------------------------------------------------------------------


@pytest.fixture
def silent(supervisor, monkeypatch):
    """A running process, and how old its sign of life is said to be."""
    age = {"s": 0.0}
    service = Service("worker", SLEEPER, os.environ, silent_s=lambda: age["s"])
    supervisor.start(service)

    def told(seconds, *, running_for=10 * kept.SILENT_AFTER_S):
        age["s"] = seconds
        service.asked_at = -kept.ASK_EVERY_S
        service.started_at = time.monotonic() - running_for
        supervisor._end_silent(service)
        return service.child.alive()

    return told


def test_a_process_that_hangs_is_ended_so_that_it_starts_again(silent):
    assert silent(kept.SILENT_AFTER_S - 1)
    assert not silent(kept.SILENT_AFTER_S + 1)


def test_nobody_is_ended_while_the_database_does_not_say(silent):
    assert silent(None)


def test_a_process_that_has_only_just_started_has_time_for_its_first_sign(silent):
    assert silent(float("inf"), running_for=kept.SILENT_AFTER_S - 5)
    assert not silent(float("inf"))


@pytest.mark.parametrize("vendor", ["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def test_the_age_of_a_sign_of_life_is_read_from_the_database(vendor, tmp_path, request):
    at = "2026-01-01 00:00:00"
    rows = [
        "CREATE TABLE assets_app_heartbeat (name varchar(120) PRIMARY KEY, beat_at timestamptz)",
        f"INSERT INTO assets_app_heartbeat VALUES ('worker1@here', '{at}+00:00')",
    ]
    if vendor == "sqlite":
        url = f"sqlite:///{tmp_path / 'db.sqlite3'}"
        one = sqlite3.connect(tmp_path / "db.sqlite3", isolation_level=None)
        for row in rows:
            one.execute(row)
        one.close()
    else:
        with postgres.running() as url:
            with psycopg.connect(url) as one:
                for row in rows:
                    one.execute(row)
            _check_age(url)
        assert age_of(url, "worker1@here")() is None  # it is gone now
        return
    _check_age(url)
    assert age_of(f"sqlite:///{tmp_path / 'none.sqlite3'}", "worker1@here")() is None


def _check_age(url):
    days = (datetime.now(UTC) - datetime(2026, 1, 1, tzinfo=UTC)).total_seconds()
    assert age_of(url, "worker1@here")() == pytest.approx(days, abs=30)
    assert age_of(url, "worker2@here")() == float("inf")
