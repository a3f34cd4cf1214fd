"""Clips made of another one, to be measured: larger and grainy, longer, or many."""

from __future__ import annotations

import shutil
from itertools import chain, cycle, islice
from pathlib import Path

import numpy as np

from pipeline.clips.video import frames

ROSTER = "athlete,cohort,lead_side,consent_until\nOT-01,Otters,left,2099-12-31\n"


def enlarge(clip: Path, to: Path, *, seconds: float, grain: float = 0.0) -> int:
    """Write a 1080p clip that plays `clip` again and again; returns its frames. grain : of a small sensor, standard deviation of the noise."""
    import cv2

    from pipeline.clips.write import write_clip

    rate = 30.0
    count = round(seconds * rate)
    again = chain.from_iterable(frames(clip) for _ in cycle([0]))
    noise = np.random.default_rng(1).normal(0, grain, (1080, 1920, 1)).astype(np.float32)

    def grainy(image: np.ndarray, i: int) -> np.ndarray:
        return np.clip(image + np.roll(noise, (37 * i, 101 * i), (0, 1)), 0, 255).astype(np.uint8) if grain else image

    enlarged = (cv2.resize(frame.image, (1920, 1080), interpolation=cv2.INTER_LINEAR) for frame in islice(again, count))
    images = (grainy(image, i) for i, image in enumerate(enlarged))
    write_clip(to, images, (i / rate for i in range(count)))
    return count


def play_again(clip: Path, to: Path, *, seconds: float) -> int:
    """Write a clip that plays `clip` again and again, its packets copied as they are; returns its frames. A minute takes a moment."""
    import av

    with av.open(str(clip)) as source, av.open(str(to), "w") as target:
        stream = source.streams.video[0]
        copied = target.add_stream_from_template(stream)
        packets = [packet for packet in source.demux(stream) if packet.pts is not None]
        assert stream.time_base is not None
        first = min(packet.pts for packet in packets)
        length = max(packet.pts + (packet.duration or 0) for packet in packets) - first
        rounds = -int(-seconds // float(length * stream.time_base))
        for later in range(0, rounds * length, length):
            for packet in packets:
                again = av.Packet(bytes(packet))
                again.pts, again.dts, again.time_base = packet.pts + later, packet.dts + later, packet.time_base
                again.duration, again.is_keyframe, again.stream = packet.duration, packet.is_keyframe, copied
                target.mux(again)
    return rounds * len(packets)


def copies(clip: Path, folder: Path, count: int) -> None:
    """Copies that are other clips by their content: a few more bytes after the end, which players pass over."""
    folder.mkdir(parents=True)
    (folder / "roster.csv").write_text(ROSTER)
    for number in range(count):
        copy = folder / f"OT-01_2026-03-02_{number}.mp4"
        shutil.copy(clip, copy)
        with open(copy, "ab") as file:
            file.write((12).to_bytes(4, "big") + b"free" + number.to_bytes(4, "big"))
