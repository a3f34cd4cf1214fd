"""Work for the pool's tests: each chore ends the way its name says. Runs in worker processes, so it lives in a module."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from pipeline.clips.video import UnreadableClip
from pipeline.errors import MatsideError


def chore(task: str, tell) -> str:
    """`task` is "what" or "what:argument"."""
    what, _, argument = task.partition(":")
    return globals()[f"do_{what}"](argument, tell)


def do_fine(argument, tell):
    tell("length", 1.0)
    tell("share", 0.5)
    return f"done {argument}".strip()


def do_sleep(argument, tell):
    time.sleep(float(argument))
    return "slept"


def do_raise(argument, tell):
    raise ValueError("a fault of ours")


def do_unreadable(argument, tell):
    raise UnreadableClip("a.mp4: not a video", frames=3)


def do_refuse(argument, tell):
    raise MatsideError("the model file is missing")


def do_crash(argument, tell):
    os.kill(os.getpid(), signal.SIGSEGV)


def do_exit(argument, tell):
    os._exit(7)


def do_hang(argument, tell):
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})  # deaf to all but SIGKILL
    while True:
        time.sleep(60)


def do_chatter(argument, tell):
    """Shows signs of life for ever."""
    while True:
        tell("share", 0.1)
        time.sleep(0.02)


def do_swell(argument, tell):
    hoard = []
    while True:
        hoard.append(bytearray(20_000_000))
        time.sleep(0.01)


def do_crash_once(argument, tell):
    """Crashes unless its file is there; leaves the file."""
    mark = Path(argument)
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "second time lucky"


def do_threads(argument, tell):
    return os.environ["OMP_NUM_THREADS"]


def do_pid(argument, tell):
    time.sleep(0.05)
    return str(os.getpid())
