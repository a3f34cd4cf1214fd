"""A video file in, upright RGB frames with true timestamps out. The only module that decodes.

A stream that breaks midway gives what it has before it says so.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import VideoReformatter

from pipeline.clips.container import UnreadableClip, claimed_duration, decoded, made_on, opened, slowed, square_size
from pipeline.clips.pixels import rgb, rgb_of_part
from pipeline.clips.tones import plain
from pipeline.clips.upright import Box, Upright

__all__ = ["BROKEN", "Frame", "Moment", "UnreadableClip", "Video", "frames", "glimpses", "moments", "moments_at", "probe", "recorded_on"]

log = logging.getLogger(__name__)

LONGEST_GAP_S = 30.0  # no camera pauses this long between two frames: the times are broken
MOST_BACK = 15  # frames in a row whose times lie behind what was shown: not a camera's slip but another clip in the same file
TRUNCATED_BELOW = 0.9  # fewer frames than this share of the promised ones: the file was cut off
SLACK_S = 0.5  # by which a claimed length may be too long, for sound that goes on
DECODER_THREADS = 1  # a worker a core: more threads would only take the time of the other workers
WORTH_A_JUMP_S, SURE_BEFORE_S = 4.0, 1.0  # a jump lands at a key picture before its aim; right behind one, not all that decodes is whole
SAME_MOMENT_S = 1e-4
BROKEN = "the clip breaks off"  # how the message of a clip cut short begins


@dataclass(frozen=True)
class Video:
    """What a clip says of itself. Sizes are those of the upright picture with square pixels."""

    path: Path
    width: int
    height: int
    duration_s: float | None  # as the file claims; None where it does not say
    rotation: int  # degrees clockwise that the stored picture is turned to stand upright: 0, 90, 180 or 270
    made_on: date | None  # the recording's date where the camera wrote a believable one
    has_sound: bool
    frame_bytes: int = 0  # of a picture as the decoder holds it


@dataclass(frozen=True)
class Frame:
    """One frame, upright."""

    index: int  # 0, 1, ... among the frames given out
    t: float  # seconds from the clip's first shown frame, strictly increasing
    image: np.ndarray  # (height, width, 3) uint8 RGB, contiguous
    scale: float  # image pixels per full-size pixel


@dataclass(frozen=True)
class Moment:
    """One shown frame, still as the decoder gave it: what nobody asks for is never turned into RGB."""

    index: int  # 0, 1, ... among the frames given out
    t: float  # seconds from the clip's first shown frame, strictly increasing
    size: tuple[int, int]  # (width, height) of the upright picture with square pixels
    _raw: av.VideoFrame
    _upright: Upright
    _scaler: VideoReformatter
    _transfer: int = 0  # how light was coded, see `tones`

    def frame(self, longest_side: int | None = None) -> Frame:
        """The whole picture, never enlarged, and at most `longest_side` pixels long where given."""
        scale = min(1.0, longest_side / max(self.size)) if longest_side else 1.0
        size = (max(1, round(self.size[0] * scale)), max(1, round(self.size[1] * scale)))
        image = rgb(self._scaler, self._raw, size[::-1] if self._upright.transpose else size)
        return Frame(self.index, self.t, self._upright.apply(plain(image, self._transfer)), scale)

    def part(self, box: Box, size: tuple[int, int]) -> np.ndarray:
        """(height, width, 3) uint8 RGB of the box (left, top, right, bottom; pixels of the upright picture), brought to `size`."""
        across, down = self.size[::-1] if self._upright.transpose else self.size
        x, y = self._raw.width / across, self._raw.height / down  # stored pixels are not always square
        left, top, right, bottom = self._upright.stored(box, self.size)
        stored = (left * x, top * y, right * x, bottom * y)
        image = rgb_of_part(self._scaler, self._raw, stored, size[::-1] if self._upright.transpose else size)
        return self._upright.apply(plain(image, self._transfer))


def probe(path: Path) -> Video:
    """Look into a clip without decoding more than its first frame. Raises UnreadableClip in one line."""
    with opened(path, threads=1) as (container, stream):
        first = next(decoded(container, stream, []), None)
        if first is None:
            raise UnreadableClip(f"{path.name}: no picture could be decoded. Copy the clip from the phone again.")
        upright, (width, height) = _shown(first, stream)
        return Video(
            path=path, width=width, height=height, duration_s=claimed_duration(container, stream), rotation=upright.rotation,
            made_on=made_on({**stream.metadata, **container.metadata}), has_sound=bool(container.streams.audio),
            frame_bytes=sum(plane.buffer_size for plane in first.planes),
        )  # fmt: skip


def recorded_on(path: Path) -> date | None:
    """The day the camera wrote into the file, without decoding anything; None where it wrote none. Raises UnreadableClip."""
    with opened(path, threads=1) as (container, stream):
        return made_on({**stream.metadata, **container.metadata})


def frames(path: Path, *, longest_side: int | None = None, threads: int = DECODER_THREADS, start: float = 0.0) -> Iterator[Frame]:
    """Decode a clip frame by frame, upright, never enlarged, and at most `longest_side` pixels long where given; else as `moments`."""
    for moment in moments(path, threads=threads, start=start):
        frame = moment.frame(longest_side)
        del moment  # or the decoder would need room for one picture more
        yield frame
        del frame


def moments(path: Path, *, threads: int = DECODER_THREADS, start: float = 0.0) -> Iterator[Moment]:
    """Decode a clip moment by moment. Slow motion that says so of itself comes at its true speed.

    Moments stream: memory does not grow with the clip's length. A stream that breaks midway first gives all that
    decoded, then raises UnreadableClip, whose `frames` and `seconds` say how far it came.
    start : seconds. What lies well before is passed over without being decoded, where the file can be searched, so that a moment
    late in a long clip costs no more than an early one. Times stay the same, indices count from the first frame given out, and
    nothing is said of how far the stream came.
    """
    with opened(path, threads=threads) as (container, stream):
        scaler = VideoReformatter()
        faults: list[str] = []
        stored = decoded(container, stream, faults)
        first = next(stored, None)
        upright, size = Upright(), (0, 0)
        first_s, t, count = 0.0, -1.0, 0
        slow = slowed(container, stream)
        step_s = 1 / float(stream.average_rate or 30) / slow
        late, back = False, 0
        transfer = stream.codec_context.color_trc or 0  # known once the first picture is decoded
        if first is not None:
            upright, size = _shown(first, stream)
            first_s = first.time if first.time is not None else 0.0
            late = start > WORTH_A_JUMP_S and first.time is not None and _jump(container, stream, first_s + (start - SURE_BEFORE_S) * slow)
            stored = decoded(container, stream, faults) if late else _after([first], stored)
        first = None
        for raw in stored:
            at = (raw.time - first_s) / slow if raw.time is not None else t + step_s
            if count == 0 and late:
                if raw.time is None or at > start:  # the jump went too far
                    break
            elif count == 0:
                at = 0.0
            if at <= t:  # a player would not show it either
                back += 1
                if back == MOST_BACK:
                    faults.append(f"the times jump from {t:.1f} to {at:.1f} s")
                continue
            if count and at - t > LONGEST_GAP_S:
                faults.append(f"the times jump from {t:.1f} to {at:.1f} s")
                break
            t, back = at, 0
            given = [Moment(count, t, size, raw, upright, scaler, transfer)]
            del raw  # or the decoder would need room for one picture more
            yield given.pop()
            count += 1
        if not late:
            _complain(path, container, stream, count, t, max(0.0, first_s) / slow, faults)
    if late and not count:  # a file that cannot be searched
        yield from moments(path, threads=threads)


def _after(first: list[av.VideoFrame], rest: Iterator[av.VideoFrame]) -> Iterator[av.VideoFrame]:
    """The pictures of a list, taken out of it, and then the rest."""
    while first:
        yield first.pop(0)
    yield from rest


def moments_at(path: Path, times: Sequence[float], *, threads: int = DECODER_THREADS) -> Iterator[tuple[int, Moment]]:
    """The moments at wanted times (seconds, ascending), each with the number of its time; of a clip that breaks midway those before
    the break. A time that no frame has gets the next one."""
    number = 0
    if not len(times):
        return
    try:
        for moment in moments(path, threads=threads, start=float(times[0])):
            while moment.t >= times[number] - SAME_MOMENT_S:
                yield number, moment
                number += 1
                if number == len(times):
                    return
    except UnreadableClip:
        return


def glimpses(path: Path, *, longest_side: int, count: int = 3) -> list[Frame]:
    """A few frames spread evenly over a clip, the first among them, without decoding all of it. Raises UnreadableClip.

    Each is the first frame that decodes at or after its moment; a clip without an index gives what its beginning has.
    """
    with opened(path, threads=1) as (container, stream):
        slow = slowed(container, stream)
        length = (claimed_duration(container, stream) or 0.0) * slow
        start = float((stream.start_time or 0) * (stream.time_base or 0))
        scaler = VideoReformatter()
        seen: dict[float, Frame] = {}
        for i in range(count):
            at = start + length * i / count if i < count - 1 else start + length * 0.95
            if i and not _jump(container, stream, at):
                break
            for raw in decoded(container, stream, []):
                if raw.time is None or raw.time >= at - 1e-3 or not length:
                    upright, size = _shown(raw, stream)
                    t = max(0.0, (raw.time or 0.0) - start) / slow
                    seen[t] = Moment(len(seen), t, size, raw, upright, scaler, stream.codec_context.color_trc or 0).frame(longest_side)
                    break
    if not seen:
        raise UnreadableClip(f"{path.name}: no picture could be decoded. Copy the clip from the phone again.")
    return [seen[t] for t in sorted(seen)]


def _shown(raw: av.VideoFrame, stream: av.VideoStream) -> tuple[Upright, tuple[int, int]]:
    """How a decoded picture stands upright, and its (width, height) then, with square pixels."""
    upright, size = Upright.of(raw), square_size(raw, stream)
    return upright, size[::-1] if upright.transpose else size


def _jump(container: av.container.InputContainer, stream: av.VideoStream, at: float) -> bool:
    try:
        container.seek(int(at / float(stream.time_base or 1)), stream=stream)
    except (av.FFmpegError, OverflowError):
        return False
    return True


def _complain(
    path: Path, container: av.container.InputContainer, stream: av.VideoStream, count: int, t: float, first_s: float, faults: list[str]
) -> None:
    """Raise UnreadableClip if the clip did not give what it promised; `t` counts from the first frame, at `first_s` of the file."""
    if count == 0:
        why = faults[0] if faults else "it holds no frames"
        raise UnreadableClip(f"{path.name}: no picture could be decoded ({why}). Copy the clip from the phone again.")
    claimed = claimed_duration(container, stream)
    short = claimed is not None and first_s + t + SLACK_S < TRUNCATED_BELOW * claimed
    if stream.frames > 1:  # where the file counts its frames, its length alone may be wrong without harm
        short = count < TRUNCATED_BELOW * stream.frames and (short or claimed is None or t < TRUNCATED_BELOW * claimed - 1 / 30)
    if short or any(fault.startswith("the times") for fault in faults):
        of = f" of {claimed:.1f} s" if claimed else ""
        why = f" ({faults[-1]})" if faults else ""
        raise UnreadableClip(
            f"{path.name}: {BROKEN} after {t:.1f} s{of}, {count} frames{why}. Copy it from the phone again.",
            frames=count, seconds=t,
        )  # fmt: skip
    if faults:
        log.info("%s: %d broken pieces passed over, first: %s", path.name, len(faults), faults[0])
