"""What a killed backtest leaves running: nothing."""

import signal
import subprocess
import sys
import time

import psutil
import pytest

PARENT = """
import sys, time, os
from pathlib import Path

class Job:
    def run(self):
        Path(sys.argv[1], f"{os.getpid()}.pid").touch()
        time.sleep(100)

if __name__ == "__main__":
    from patchrisk.study.workers import over_processes
    list(over_processes([Job() for _ in range(4)], 2))
"""


def running(pid):
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def wait_until(true, seconds):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.1)
    return False


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_the_process_that_began_them(tmp_path, number):
    (tmp_path / "parent.py").write_text(PARENT)
    (tmp_path / "pids").mkdir()
    with (tmp_path / "said").open("w") as said:
        parent = subprocess.Popen(
            [sys.executable, "parent.py", str(tmp_path / "pids")],
            cwd=tmp_path,
            stdout=said,
            stderr=said,
        )
    try:
        begun = wait_until(lambda: len(list((tmp_path / "pids").iterdir())) == 2, 60)
        assert begun, (tmp_path / "said").read_text()
        children = [p.pid for p in psutil.Process(parent.pid).children(recursive=True)]
        assert len(children) >= 2
        parent.send_signal(number)
        parent.wait(10)
        gone = wait_until(lambda: not any(running(pid) for pid in children), 15)
        left = [psutil.Process(pid).cmdline() for pid in children if running(pid)]
        for pid in children:
            if running(pid):
                psutil.Process(pid).kill()
        assert gone, left
    finally:
        parent.kill()
