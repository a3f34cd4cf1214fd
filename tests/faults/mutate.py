"""Clips broken in every way that cards, cables and downloads break them, and in some that only malice does."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

Mutation = Callable[[bytearray, np.random.Generator], bytes]


def flip_bits(data: bytearray, rng: np.random.Generator) -> bytes:
    for at in rng.integers(0, len(data), rng.integers(1, 200)):
        data[at] ^= 1 << int(rng.integers(8))
    return bytes(data)


def flip_header_bits(data: bytearray, rng: np.random.Generator) -> bytes:
    """Where the index is: at either end."""
    for at in rng.integers(0, min(2000, len(data)), rng.integers(1, 20)):
        data[at if rng.random() < 0.5 else -at - 1] ^= 1 << int(rng.integers(8))
    return bytes(data)


def truncate(data: bytearray, rng: np.random.Generator) -> bytes:
    return bytes(data[: int(rng.integers(1, len(data)))])


def lose_beginning(data: bytearray, rng: np.random.Generator) -> bytes:
    return bytes(data[int(rng.integers(1, len(data))) :])


def zero_stretch(data: bytearray, rng: np.random.Generator) -> bytes:
    start = int(rng.integers(0, len(data)))
    length = int(rng.integers(1, len(data)))
    data[start : start + length] = bytes(len(data[start : start + length]))
    return bytes(data)


def repeat_stretch(data: bytearray, rng: np.random.Generator) -> bytes:
    start, stop = sorted(int(x) for x in rng.integers(0, len(data), 2))
    return bytes(data[:stop] + data[start:])


def noise(data: bytearray, rng: np.random.Generator) -> bytes:
    return rng.bytes(int(rng.integers(0, 20_000)))


def _box(data: bytearray, name: bytes) -> int | None:
    at = data.find(name)
    return at + 4 if at >= 0 else None


def claim_hours(data: bytearray, rng: np.random.Generator) -> bytes:
    """mvhd, tkhd and mdhd say ten hours."""
    for name, offset in ((b"mvhd", 16), (b"tkhd", 20), (b"mdhd", 16)):
        if (at := _box(data, name)) is not None:
            data[at + offset : at + offset + 4] = struct.pack(">I", 36_000_000)
    return bytes(data)


def claim_size(data: bytearray, rng: np.random.Generator) -> bytes:
    """The sample entry says 16384 x 16384, or 1 x 1."""
    side = int(rng.choice([1, 16_384, 65_535]))
    for name in (b"avc1", b"mp4v"):
        at = data.find(name, data.find(b"stsd"))
        if at >= 0:
            data[at + 28 : at + 32] = struct.pack(">HH", side, side)
    return bytes(data)


def claim_times(data: bytearray, rng: np.random.Generator) -> bytes:
    """Frame durations of zero, of hours, or running backwards."""
    at = _box(data, b"stts")
    if at is not None and at + 16 <= len(data):
        data[at + 12 : at + 16] = struct.pack(">I", int(rng.choice([0, 1, 2**31 - 1, 2**32 - 1])))
    return bytes(data)


def claim_boxes(data: bytearray, rng: np.random.Generator) -> bytes:
    """A box's length becomes zero, one, tiny or huge."""
    names = [b"moov", b"trak", b"mdia", b"stbl", b"stsz", b"stco", b"mdat", b"ftyp", b"stsc"]
    at = data.find(names[int(rng.integers(len(names)))])
    if at >= 4:
        data[at - 4 : at] = struct.pack(">I", int(rng.choice([0, 1, 7, 2**31, 2**32 - 1])))
    return bytes(data)


def negative_start(data: bytearray, rng: np.random.Generator) -> bytes:
    """An edit list that begins before the clip."""
    at = _box(data, b"elst")
    if at is not None and at + 16 <= len(data):
        data[at + 12 : at + 16] = struct.pack(">i", int(rng.integers(-(2**30), 0)))
    return bytes(data)


MUTATIONS: tuple[Mutation, ...] = (
    flip_bits, flip_header_bits, truncate, lose_beginning, zero_stretch, repeat_stretch, noise, claim_hours, claim_size, claim_times,
    claim_boxes, negative_start,
)  # fmt: skip


def mutated(sources: list[bytes], count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """(what was done, the file's bytes), the same for the same seed; now and then two mutations at once."""
    rng = np.random.default_rng(seed)
    for number in range(count):
        mutation = MUTATIONS[number % len(MUTATIONS)]
        data = mutation(bytearray(sources[int(rng.integers(len(sources)))]), rng)
        name = mutation.__name__
        if rng.random() < 0.2 and data:
            data = flip_bits(bytearray(data), rng)
            name += "+flip_bits"
        yield name, data


def sources(folder: Path) -> list[bytes]:
    """Small whole clips to break: mp4, mov turned, mkv, avi, with one frame and with none."""
    from tests.clips.filming import film

    plain = [film(folder / f"whole.{ending}") for ending in ("mp4", "mkv", "avi")]
    turned = film(folder / "turned.mov", rotation=90)
    single = film(folder / "single.mp4", [0.0])
    uneven = film(folder / "uneven.mp4", [0.0, 0.03, 0.5, 0.52, 1.9])
    return [path.read_bytes() for path in (*plain, turned, single, uneven)]
