"""Files written whole: with the rights they had, through links, and no rubbish left behind."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from patchrisk.base.errors import UnavailableError
from patchrisk.base.saving import clear_scratch_files, write_bytes, write_text


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o644, 0o664, 0o666, 0o755])
@pytest.mark.parametrize("umask", [0o022, 0o077, 0o000])
def test_a_file_that_is_replaced_keeps_its_mode(tmp_path, mode, umask):
    path = tmp_path / "a.csv"
    path.write_text("old")
    path.chmod(mode)
    before = os.umask(umask)
    try:
        write_text(path, "new")
    finally:
        os.umask(before)
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == mode


@pytest.mark.parametrize("umask", [0o022, 0o077, 0o002])
def test_a_new_file_gets_the_rights_of_new_files(tmp_path, umask):
    before = os.umask(umask)
    try:
        write_text(tmp_path / "a.csv", "new")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o666 & ~umask


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs root")
def test_a_file_that_is_replaced_keeps_its_owner(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("old")
    os.chown(path, 12345, 23456)
    write_text(path, "new")
    assert (path.stat().st_uid, path.stat().st_gid) == (12345, 23456)


@pytest.mark.skipif(not hasattr(os, "setxattr"), reason="needs extended attributes")
def test_a_file_that_is_replaced_keeps_its_attributes(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("old")
    try:
        os.setxattr(path, "user.origin", b"the shed")
    except OSError:
        pytest.skip("no extended attributes on this disk")
    write_text(path, "new")
    assert os.getxattr(path, "user.origin") == b"the shed"


def test_through_links_that_stay_links(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "one").symlink_to(tmp_path / "two")
    (tmp_path / "two").symlink_to(tmp_path / "real" / "a.txt")
    for text in ("new", "newer"):  # the first time the file at the end is not there yet
        write_text(tmp_path / "one", text)
        assert (tmp_path / "one").is_symlink()
        assert (tmp_path / "two").is_symlink()
        assert (tmp_path / "real" / "a.txt").read_text() == text


@pytest.mark.parametrize("kind", ["folder", "fifo", "loop", "device"])
def test_what_is_no_file_is_left_alone(tmp_path, kind):
    path = tmp_path / "x"
    if kind == "folder":
        path.mkdir()
    elif kind == "fifo":
        os.mkfifo(path)
    elif kind == "loop":
        path.symlink_to(path)
    else:
        path.symlink_to("/dev/null")
    with pytest.raises(UnavailableError) as caught:
        write_bytes(path, b"x")
    assert len(str(caught.value).splitlines()) == 1
    assert not path.is_file()
    assert [p.name for p in tmp_path.iterdir()] == ["x"]
    if kind == "device":
        assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


def test_a_name_as_long_as_names_may_be(tmp_path):
    path = tmp_path / ("n" * 251 + ".csv")
    write_text(path, "x")
    assert path.read_text() == "x"


@pytest.mark.parametrize(
    ("number", "says"),
    [(errno.ENOSPC, "the disk is full: free some room"), (errno.EDQUOT, "your share of the disk")],
)
def test_a_full_disk_is_called_so(tmp_path, monkeypatch, number, says):
    def refuse(_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("os.fsync", refuse)
    with pytest.raises(UnavailableError, match=says) as caught:
        write_text(tmp_path / "a.txt", "x")
    assert len(str(caught.value).splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_an_error_of_another_kind_leaves_nothing_behind(tmp_path, monkeypatch):
    def stop(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("os.fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a.txt", "x")
    assert not list(tmp_path.iterdir())


KILLED = """
import os, signal, sys
from pathlib import Path
from patchrisk.base.saving import replacing
with replacing(Path(sys.argv[1])) as file:
    file.write(b"half")
    file.flush()
    if sys.argv[2] == "kill":
        os.kill(os.getpid(), signal.SIGKILL)
    print("waiting", flush=True)
    sys.stdin.read()
"""


def test_what_a_killed_writer_left_is_swept_by_the_next_and_what_is_being_written_stays(tmp_path):
    (tmp_path / ".patchrisk-notes.part").mkdir()
    (tmp_path / ".a.txt.abcdefgh").touch()  # not ours
    kept = {".patchrisk-notes.part", ".a.txt.abcdefgh"}
    subprocess.run([sys.executable, "-c", KILLED, tmp_path / "a.txt", "kill"], check=False)
    assert len(list(tmp_path.iterdir())) == 3
    writer = subprocess.Popen(
        [sys.executable, "-c", KILLED, tmp_path / "b.txt", "wait"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert writer.stdout.readline() == "waiting\n"
    clear_scratch_files(tmp_path)
    assert len(list(tmp_path.iterdir())) == 3  # that of the dead is gone, not that of the living
    write_text(tmp_path / "c.txt", "c")
    writer.communicate()
    assert (tmp_path / "b.txt").read_text() == "half"
    assert {p.name for p in tmp_path.iterdir()} == {"b.txt", "c.txt"} | kept
