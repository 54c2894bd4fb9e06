"""Files read once, without waiting for what is none."""

from __future__ import annotations

import errno
import os

import pytest

from liftseries.base.reading import sha256


def lent(real):
    """What open(2) does with a file that a file server has lent: EAGAIN to who will not wait."""

    def opened(path, flags, *more, **named):
        if flags & os.O_NONBLOCK:
            raise BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable", str(path))
        return real(path, flags, *more, **named)

    return opened


def test_a_file_that_is_lent_is_waited_for(tmp_path, monkeypatch):
    (tmp_path / "sites.csv").write_bytes(b"site_id")
    before = sha256(tmp_path / "sites.csv")
    monkeypatch.setattr(os, "open", lent(os.open))
    assert sha256(tmp_path / "sites.csv") == before


def test_a_pipe_is_not_waited_for(tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="a pipe or a device"):
        sha256(tmp_path / "pipe")
    monkeypatch.setattr(os, "open", lent(os.open))
    with pytest.raises(BlockingIOError):
        sha256(tmp_path / "pipe")
