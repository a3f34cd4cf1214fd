"""A video file in, upright RGB frames with true timestamps out. The only module that decodes.

Nothing here trusts a file: playlists that point elsewhere are refused, huge pictures are not allocated, and a stream
that breaks midway gives what it has before it says so.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import chain
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import VideoReformatter

from pipeline.clips.pixels import rgb
from pipeline.errors import MatsideError

log = logging.getLogger(__name__)

DEMUXERS = "mov,matroska,avi,mpegts,mpeg"  # what phones and cameras write; leaves out playlists, text and images
SMALLEST_SIDE, MOST_PIXELS = 16, 8192 * 8192
LONGEST_GAP_S = 30.0  # no camera pauses this long between two frames: the times are broken
TRUNCATED_BELOW = 0.9  # fewer frames than this share of the promised ones: the file was cut off
SLACK_S = 0.5  # by which a claimed length may be too long, for sound that goes on
EARLIEST_YEAR = 2000  # cameras without a clock write 1904, 1970 or 1980
DECODER_THREADS = 1  # a worker a core: more threads would only take the time of the other workers
WORTH_A_JUMP_S, SURE_BEFORE_S = 4.0, 1.0  # a jump lands at a key picture before its aim; right behind one, not all that decodes is whole
BROKEN = "the clip breaks off"  # how the message of a clip cut short begins


class UnreadableClip(MatsideError):
    """The clip cannot be read, or not to its end. `frames` and `seconds` say how far it came."""

    lasting = True  # trying again will not help while the file stays as it is

    def __init__(self, message: str, *, frames: int = 0, seconds: float = 0.0) -> None:
        super().__init__(message)
        self.frames, self.seconds = frames, seconds

    def __reduce__(self) -> tuple:
        return _rebuild, (str(self), self.frames, self.seconds)


def _rebuild(message: str, frames: int, seconds: float) -> UnreadableClip:
    return UnreadableClip(message, frames=frames, seconds=seconds)


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


@dataclass(frozen=True)
class Frame:
    """One frame, upright."""

    index: int  # 0, 1, ... among the frames given out
    t: float  # seconds from the clip's first shown frame, strictly increasing
    image: np.ndarray  # (height, width, 3) uint8 RGB, contiguous
    scale: float  # image pixels per full-size pixel


@dataclass(frozen=True)
class _Upright:
    """How stored pixels become the shown picture: swap the axes, then mirror."""

    transpose: bool = False
    flip_x: bool = False
    flip_y: bool = False

    @classmethod
    def of(cls, frame: av.VideoFrame) -> _Upright:
        """From the frame's display matrix, which sends (x, y) to (a x + c y, b x + d y)."""
        try:
            matrix = np.frombuffer(bytes(frame.side_data["DISPLAYMATRIX"]), "<i4").reshape(3, 3)  # type: ignore[typeddict-item]
        except (KeyError, ValueError):
            return cls()
        (a, b), (c, d) = matrix[:2, :2].astype(float)
        if abs(b) + abs(c) > abs(a) + abs(d):
            return cls(True, c < 0, b < 0)
        return cls(False, a < 0, d < 0)

    @property
    def rotation(self) -> int:
        """Degrees clockwise; of a mirrored picture, the turn that stays after mirroring left to right."""
        if self.transpose:
            return 90 if not self.flip_y else 270
        return 180 if self.flip_y else 0

    def apply(self, image: np.ndarray) -> np.ndarray:
        if self.transpose:
            image = image.swapaxes(0, 1)
        return np.ascontiguousarray(image[:: -1 if self.flip_y else 1, :: -1 if self.flip_x else 1])


def probe(path: Path) -> Video:
    """Look into a clip without decoding more than its first frame. Raises UnreadableClip in one line."""
    with _opened(path, threads=1) as (container, stream):
        first = next(_decoded(container, stream, []), None)
        if first is None:
            raise UnreadableClip(f"{path.name}: no picture could be decoded. Copy the clip from the phone again.")
        upright = _Upright.of(first)
        width, height = _square_size(first, stream)
        if upright.transpose:
            width, height = height, width
        return Video(
            path=path, width=width, height=height, duration_s=_claimed_duration(container, stream), rotation=upright.rotation,
            made_on=_made_on({**stream.metadata, **container.metadata}), has_sound=bool(container.streams.audio),
        )  # fmt: skip


def recorded_on(path: Path) -> date | None:
    """The day the camera wrote into the file, without decoding anything; None where it wrote none. Raises UnreadableClip."""
    with _opened(path, threads=1) as (container, stream):
        return _made_on({**stream.metadata, **container.metadata})


def frames(path: Path, *, longest_side: int | None = None, threads: int = DECODER_THREADS, start: float = 0.0) -> Iterator[Frame]:
    """Decode a clip frame by frame, upright, never enlarged, and at most `longest_side` pixels long where given.

    Frames stream: memory does not grow with the clip's length. A stream that breaks midway first gives all that
    decoded, then raises UnreadableClip, whose `frames` and `seconds` say how far it came.
    start : seconds. What lies well before is passed over without being decoded, where the file can be searched, so that a moment
    late in a long clip costs no more than an early one. Times stay the same, indices count from the first frame given out, and
    nothing is said of how far the stream came.
    """
    with _opened(path, threads=threads) as (container, stream):
        scaler = VideoReformatter()
        faults: list[str] = []
        decoded = _decoded(container, stream, faults)
        first = next(decoded, None)
        upright, size, scale = _Upright(), (0, 0), 1.0
        first_s, t, count = 0.0, -1.0, 0
        step_s = 1 / float(stream.average_rate or 30)
        late = False
        if first is not None:
            upright = _Upright.of(first)
            full = _square_size(first, stream)
            scale = min(1.0, longest_side / max(full)) if longest_side else 1.0
            size = (max(1, round(full[0] * scale)), max(1, round(full[1] * scale)))
            first_s = first.time if first.time is not None else 0.0
            late = start > WORTH_A_JUMP_S and first.time is not None and _jump(container, stream, first_s + start - SURE_BEFORE_S)
            decoded = _decoded(container, stream, faults) if late else chain([first], decoded)
        for raw in decoded:
            at = raw.time - first_s if raw.time is not None else t + step_s
            if count == 0 and late:
                if raw.time is None or at > start:  # the jump went too far
                    break
            elif count == 0:
                at = 0.0
            if at <= t:  # a player would not show it either
                continue
            if count and at - t > LONGEST_GAP_S:
                faults.append(f"the times jump from {t:.1f} to {at:.1f} s")
                break
            t = at
            yield Frame(count, t, upright.apply(rgb(scaler, raw, size)), scale)
            count += 1
        if not late:
            _complain(path, container, stream, count, t, max(0.0, first_s), faults)
    if late and not count:  # a file that cannot be searched
        yield from frames(path, longest_side=longest_side, threads=threads)


def glimpses(path: Path, *, longest_side: int, count: int = 3) -> list[Frame]:
    """A few frames spread evenly over a clip, the first among them, without decoding all of it. Raises UnreadableClip.

    Each is the first frame that decodes at or after its moment; a clip without an index gives what its beginning has.
    """
    with _opened(path, threads=1) as (container, stream):
        length = _claimed_duration(container, stream) or 0.0
        start = float((stream.start_time or 0) * (stream.time_base or 0))
        scaler = VideoReformatter()
        seen: dict[float, Frame] = {}
        for i in range(count):
            at = start + length * i / count if i < count - 1 else start + length * 0.95
            if i and not _jump(container, stream, at):
                break
            for raw in _decoded(container, stream, []):
                if raw.time is None or raw.time >= at - 1e-3 or not length:
                    upright, full = _Upright.of(raw), _square_size(raw, stream)
                    scale = min(1.0, longest_side / max(full))
                    size = (max(1, round(full[0] * scale)), max(1, round(full[1] * scale)))
                    t = max(0.0, (raw.time or 0.0) - start)
                    seen[t] = Frame(len(seen), t, upright.apply(rgb(scaler, raw, size)), scale)
                    break
    if not seen:
        raise UnreadableClip(f"{path.name}: no picture could be decoded. Copy the clip from the phone again.")
    return [seen[t] for t in sorted(seen)]


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
    claimed = _claimed_duration(container, stream)
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


@contextmanager
def _opened(path: Path, *, threads: int) -> Iterator[tuple[av.container.InputContainer, av.VideoStream]]:
    """The open container and its moving-picture stream; every failure is one clear line."""
    path = Path(path)
    if not path.is_file():
        raise UnreadableClip(f"{path}: no such file.")
    if path.stat().st_size == 0:
        raise UnreadableClip(f"{path.name}: the file is empty (0 bytes). Copy it from the phone again.")
    options = {"protocol_whitelist": "file", "format_whitelist": DEMUXERS}
    try:
        container = av.open(str(path.absolute()), container_options=options, metadata_errors="replace")
    except PermissionError as error:
        raise UnreadableClip(f"{path.name}: this user may not read the file. Change its permissions.") from error
    except (av.FFmpegError, OSError, ValueError) as error:
        raise UnreadableClip(
            f"{path.name}: not a video that can be read ({_words(error)}). Expected mp4, mov, m4v, avi, webm or mkv."
        ) from error
    with container:
        moving = [s for s in container.streams.video if not s.disposition & av.stream.Disposition.attached_pic]
        if not moving:
            held = "only sound" if container.streams.audio else "no moving picture, or was cut off"
            raise UnreadableClip(f"{path.name}: holds {held}. Expected a video; copy it from the phone again.")
        stream = moving[0]
        codec = stream.codec_context
        if codec is None:
            raise UnreadableClip(f"{path.name}: the video is packed in a way this Matside cannot decode. Export it again as H.264.")
        width, height = codec.width, codec.height
        if width * height > MOST_PIXELS or (width and height and min(width, height) < SMALLEST_SIDE):
            raise UnreadableClip(
                f"{path.name}: the picture is said to be {width} × {height}; expected sides from {SMALLEST_SIDE} to 8192 pixels."
            )
        codec.options = {"max_pixels": str(MOST_PIXELS)}
        codec.thread_count = threads
        codec.thread_type = "AUTO"
        yield container, stream


def _decoded(container: av.container.InputContainer, stream: av.VideoStream, faults: list[str]) -> Iterator[av.VideoFrame]:
    """Every frame that decodes. What does not is noted in `faults` and passed over."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except (av.FFmpegError, OSError, ValueError) as error:
            faults.append(_words(error))
            packet = None
        try:
            yield from stream.decode(packet)
        except av.EOFError:
            return
        except (av.FFmpegError, ValueError) as error:
            faults.append(_words(error))
        if packet is None:
            return


def _square_size(raw: av.VideoFrame, stream: av.VideoStream) -> tuple[int, int]:
    """(width, height) of the stored picture once its pixels are square."""
    shape = stream.sample_aspect_ratio
    ratio = float(shape) if shape else 1.0
    return (round(raw.width * ratio), raw.height) if 0.1 < ratio < 10 else (raw.width, raw.height)


def _claimed_duration(container: av.container.InputContainer, stream: av.VideoStream) -> float | None:
    if stream.duration and stream.time_base and stream.duration > 0:
        return float(stream.duration * stream.time_base)
    return container.duration / av.time_base if container.duration and container.duration > 0 else None


def _made_on(metadata: dict[str, str]) -> date | None:
    """The day of recording in the club's own time zone, taken to be this computer's."""
    for key in ("com.apple.quicktime.creationdate", "creation_time", "date", "DATE_RECORDED"):
        try:
            made = datetime.fromisoformat(metadata.get(key, ""))
        except ValueError:
            continue
        if key == "creation_time":  # UTC by definition; Apple's carries its own zone
            made = made.replace(tzinfo=made.tzinfo or UTC).astimezone()
        if EARLIEST_YEAR <= made.year <= datetime.now().year + 1:
            return made.date()
    return None


def _words(error: Exception) -> str:
    """FFmpeg's own words without the file's path."""
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
