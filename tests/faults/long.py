"""The long form of the fault tests, with counts.

python -m tests.faults.long                  # 1,000 broken clips, 300 clips killed 200 times, a disk that fills up
python -m tests.faults.long --only kills --kills 20
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pipeline.batch.run import run_folder
from tests.batch.nights import TODAY, clips_folder, rows_of
from tests.faults.kills import kill_at_random, run_night, wait_until
from tests.faults.mutate import mutated, sources

TMPFS_MB = 260


def broken_clips(options: argparse.Namespace, home: Path) -> None:
    """Real workers, real decoding, each clip one row."""
    folder = clips_folder(home, ())
    whole = sources(home)
    done_to = {}
    for number, (what, data) in enumerate(mutated(whole, options.clips, seed=options.seed)):
        name = f"OT-01_2026-03-02_{number}.mp4"
        (folder / name).write_bytes(data + number.to_bytes(4, "big"))  # no two alike
        done_to[name] = what
    began = time.monotonic()
    run_folder(folder, home / "out", today=TODAY, workers=2)
    rows = rows_of(home / "out")
    silent = [name for name, (_, reason) in rows.items() if not reason]
    ours = {name: reason for name, (_, reason) in rows.items() if "unexpected" in reason or "crashed" in reason or "given up" in reason}
    print(f"broken clips: {len(done_to)} in {time.monotonic() - began:.0f} s; rows {len(rows)}, without a reason {len(silent)}")
    print("  status:", dict(collections.Counter(status for status, _ in rows.values())))
    print(f"  hangs {sum('given up' in r for r in ours.values())}, crashes {sum('crashed' in r for r in ours.values())}, "
          f"unexpected errors {sum('unexpected' in r for r in ours.values())}")  # fmt: skip
    for name, reason in ours.items():
        print(f"    {name} ({done_to[name]}): {reason}")


def kills(options: argparse.Namespace, home: Path) -> None:
    """A night that is killed again and again, against one that is not."""
    folder = clips_folder(
        home,
        [
            f"{code}_2026-03-{day:02d}_{n}.mp4"
            for code in ("OT-01", "HE-02", "CU-03")
            for day in range(2, 7)
            for n in range(options.night // 15)
        ],
    )
    assert run_night(folder, home / "undisturbed").wait(timeout=1200) == 0
    got = kill_at_random(folder, home / "out", home / "undisturbed", kills=options.kills, seed=options.seed, longest_s=options.longest)
    finished = sum(note.startswith("finished") for note in got.notes)
    print(
        f"kills: {got.kills} of a night of {options.night} clips ({finished} times it finished first and a third was undone); workers that "
        f"lived on {got.orphans}, store not whole {got.broken}, half files {got.half}; store equal {got.equal}, all {got.pages} files "
        f"equal {got.pages_equal}"
    )
    for note in got.notes:
        if note.endswith("differs"):
            print(f"    {note}")


def full_disk(options: argparse.Namespace, home: Path) -> None:
    """A small file system of its own that fills up during the night, then gets room. Needs root for the mount."""
    if os.name != "posix" or os.getuid() != 0:
        print("full disk: needs root to mount a small file system; left out")
        return
    mount = home / "small"
    mount.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={TMPFS_MB}m", "tmpfs", str(mount)], check=True)
    try:
        folder = clips_folder(home, [f"OT-01_2026-03-02_{n}.mp4" for n in range(60)])
        assert run_night(folder, home / "roomy").wait(timeout=600) == 0
        night = run_night(folder, mount / "out")
        assert wait_until(
            lambda: (mount / "out" / "data" / "pictures").is_dir() and len(list((mount / "out" / "data" / "pictures").glob("*"))) > 5, 300
        )
        ballast = mount / "ballast"
        with contextlib.suppress(OSError):  # it fails when the disk is full, which is the point
            ballast.write_bytes(bytes(TMPFS_MB << 20))
        first = night.wait(timeout=600)
        half = dict(collections.Counter(status for status, _ in rows_of(mount / "out").values()))
        ballast.unlink()
        second = run_night(folder, mount / "out").wait(timeout=600)
        from tests.batch.nights import contents

        print(f"full disk: the night ended with {first}, rows then {half}; with room again {second}, "
              f"outcome equal {contents(mount / 'out') == contents(home / 'roomy')}")  # fmt: skip
    finally:
        subprocess.run(["umount", "--lazy", str(mount)], check=False)


PARTS = {"broken": broken_clips, "kills": kills, "disk": full_disk}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", choices=PARTS, action="append")
    parser.add_argument("--clips", type=int, default=1000)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--night", type=int, default=300, help="clips of the night that is killed")
    parser.add_argument("--longest", type=float, default=6.0, help="a kill comes at most so many seconds after a start")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for name in options.only or PARTS:
        with tempfile.TemporaryDirectory(prefix="matside-faults-") as home:
            PARTS[name](options, Path(home))
    return 0


if __name__ == "__main__":
    sys.exit(main())
