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

pytestmark = [pytest.mark.slow, pytest.mark.hostile]


class Demo:
    """The demo in a folder of its own."""

    def __init__(self, folder):
        self.folder, self.port = folder, free_port()
        self.process = None

    def start(self):
        env = {**os.environ, "RUN_FOLDER": str(self.folder), "PORT": str(self.port), "SMALL": "1"}
        for name in ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE", "DJANGO_ALLOW_ASYNC_UNSAFE"):
            env.pop(name, None)
        output = (self.folder.parent / "output").open("ab")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "running.demo"], cwd=ROOT, env=env, stdout=output, stderr=output
        )
        output.close()
        return self

    def output(self):
        return (self.folder.parent / "output").read_text()

    def wait(self, seconds):
        deadline = time.monotonic() + seconds
        while not web_answers(self.port):
            assert self.process.poll() is None, self.output()
            assert time.monotonic() < deadline, self.output()
            time.sleep(0.2)

    def processes(self):
        """What the supervisor wrote down; nothing while it is starting."""
        try:
            written = json.loads((self.folder / "processes.json").read_text())
        except FileNotFoundError:
            return {}
        return {int(pid): since for pid, since in written.items()}


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    one = Demo(tmp_path_factory.mktemp("demo") / "run").start()
    one.wait(240)
    yield one
    if one.process.poll() is None:
        one.process.terminate()
        one.process.wait(60)


def test_the_web_comes_back_after_it_was_killed(demo):
    deadline = time.monotonic() + 60
    while len(demo.processes()) < 3:
        assert time.monotonic() < deadline
        time.sleep(0.2)
    web = next(pid for pid in demo.processes() if "gunicorn" in Path(f"/proc/{pid}/cmdline").read_text())
    os.killpg(web, signal.SIGKILL)
    demo.wait(60)
    assert web not in demo.processes()


def test_a_second_demo_from_the_same_folder_is_refused_in_words(demo):
    second = Demo(demo.folder).start()
    assert second.process.wait(60) != 0
    assert "running already" in demo.output()


def test_a_busy_port_is_named_with_a_way_out(demo, tmp_path):
    other = Demo(tmp_path / "run")
    other.port = demo.port
    assert other.start().process.wait(60) != 0
    assert f"Port {demo.port} is taken" in other.output()


def wait_for_others(demo, before):
    """The processes of the new start; the old web may answer until the new supervisor has ended it."""
    deadline = time.monotonic() + 120
    while True:
        after = demo.processes()
        if len(after) >= 3 and not set(before.items()) & set(after.items()):
            return after
        assert time.monotonic() < deadline, demo.output()
        time.sleep(0.2)


def test_it_comes_back_after_the_whole_of_it_was_killed_and_nothing_is_left_after_the_end(demo):
    before = demo.processes()
    demo.process.kill()
    demo.process.wait()
    demo.start()
    after = wait_for_others(demo, before)
    demo.wait(120)
    demo.process.terminate()
    assert demo.process.wait(60) == 0
    assert not [pid for pid, since in {**before, **after}.items() if born(pid) == since]
    assert not (demo.folder / "processes.json").exists()
