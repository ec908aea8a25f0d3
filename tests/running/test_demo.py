"""`make demo` from an empty folder: it comes up, survives kills, refuses a second one, and leaves nothing behind."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from running.health import web_answers
from running.processes import ROOT, free_port
from running.supervisor import born

GREETING = "Soundjoint answers at"
DEADLINE_S = 300  # only reached when something is wrong; a slow machine has all the time it needs

pytestmark = [pytest.mark.slow, pytest.mark.hostile]


class Demo:
    """The demo in a folder of its own."""

    def __init__(self, folder):
        self.folder, self.port = folder, free_port()
        self.log = folder.parent / "output"
        self.process = None

    def start(self):
        env = {**os.environ, "RUN_FOLDER": str(self.folder), "PORT": str(self.port), "SMALL": "1"}
        for name in ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE", "DJANGO_ALLOW_ASYNC_UNSAFE"):
            env.pop(name, None)
        output = self.log.open("ab")
        self.said_before = self.log.stat().st_size
        self.process = subprocess.Popen(
            [sys.executable, "-m", "running.demo"], cwd=ROOT, env=env, stdout=output, stderr=output
        )
        output.close()
        return self

    def output(self):
        return self.log.read_bytes().decode()

    def up(self):
        """Running, and past its greeting: only then does it start again what dies. Started (again) if it is down."""
        if self.process is None or self.process.poll() is not None:
            self.start()
        self.until(lambda: self.greeted() and len(self.processes()) >= 3)
        self.until(lambda: web_answers(self.port))
        return self

    def greeted(self):
        """Since its latest start."""
        return GREETING.encode() in self.log.read_bytes()[self.said_before :]

    def until(self, what):
        deadline = time.monotonic() + DEADLINE_S
        while not what():
            assert self.process.poll() is None, self.output()
            assert time.monotonic() < deadline, self.output()
            time.sleep(0.1)

    def web(self):
        return next((pid for pid in self.processes() if "gunicorn" in command_of(pid)), None)

    def processes(self):
        """What the supervisor wrote down; nothing while it is starting or writing."""
        try:
            written = json.loads((self.folder / "processes.json").read_text())
        except (FileNotFoundError, ValueError):
            return {}
        return {int(pid): since for pid, since in written.items()}


def command_of(pid):
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return ""


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    one = Demo(tmp_path_factory.mktemp("demo") / "run")
    yield one
    if one.process and one.process.poll() is None:
        one.process.terminate()
        one.process.wait(DEADLINE_S)


@pytest.fixture
def demo(shared):
    """Up and greeted, whatever the test before left."""
    return shared.up()


def test_the_web_comes_back_after_it_was_killed(demo):
    web = demo.web()
    os.killpg(web, signal.SIGKILL)
    demo.until(lambda: demo.web() not in {None, web} and web_answers(demo.port))
    assert "web ended (code -9); starting it again" in demo.output()


def test_a_second_demo_from_the_same_folder_is_refused_in_words(demo):
    second = Demo(demo.folder)
    second.log = demo.folder.parent / "second"
    assert second.start().process.wait(DEADLINE_S) != 0
    assert "running already" in second.output()


def test_a_busy_port_is_named_with_a_way_out(demo, tmp_path):
    other = Demo(tmp_path / "run")
    other.port = demo.port
    assert other.start().process.wait(DEADLINE_S) != 0
    assert f"Port {demo.port} is taken" in other.output()


def test_it_comes_back_after_the_whole_of_it_was_killed_and_nothing_is_left_after_the_end(demo):
    before = demo.processes()
    demo.process.kill()
    demo.process.wait()
    after = demo.up().processes()
    assert not set(before.items()) & set(after.items())
    demo.process.terminate()
    assert demo.process.wait(DEADLINE_S) == 0
    assert not [pid for pid, since in {**before, **after}.items() if born(pid) == since]
    assert not (demo.folder / "processes.json").exists()
