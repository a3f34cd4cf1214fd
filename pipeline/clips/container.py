"""A file opened as a video: what may be opened at all, every frame that decodes, what the file says of itself.

Nothing here trusts a file: playlists that point elsewhere are refused, and huge pictures are not allocated.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

import av

from pipeline.clips.naming import possible
from pipeline.errors import MatsideError

DEMUXERS = "mov,matroska,avi,mpegts,mpeg"  # what phones and cameras write; leaves out playlists, text and images
SMALLEST_SIDE, MOST_PIXELS = 16, 8192 * 8192
SLOWED_FROM, SLOWED_TO = 1.8, 40.0  # phones film 60 to 960 frames a second and play 30


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


@contextmanager
def opened(path: Path, *, threads: int) -> Iterator[tuple[av.container.InputContainer, av.VideoStream]]:
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
            f"{path.name}: not a video that can be read ({words(error)}). Expected mp4, mov, m4v, avi, webm, mkv, 3gp, mts or mpg."
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


def decoded(container: av.container.InputContainer, stream: av.VideoStream, faults: list[str]) -> Iterator[av.VideoFrame]:
    """Every frame that decodes. What does not is noted in `faults` and passed over."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except (av.FFmpegError, OSError, ValueError) as error:
            faults.append(words(error))
            packet = None
        try:
            yield from stream.decode(packet)
        except av.EOFError:
            return
        except (av.FFmpegError, ValueError) as error:
            faults.append(words(error))
        if packet is None:
            return


def square_size(raw: av.VideoFrame, stream: av.VideoStream) -> tuple[int, int]:
    """(width, height) of the stored picture once its pixels are square."""
    shape = stream.sample_aspect_ratio
    ratio = float(shape) if shape else 1.0
    return (round(raw.width * ratio), raw.height) if 0.1 < ratio < 10 else (raw.width, raw.height)


def slowed(container: av.container.InputContainer, stream: av.VideoStream) -> float:
    """How many times slower than life the clip plays, as an Android phone writes it into slow motion; 1 for everything else.

    The key is Android's (MediaMuxer, `com.android.capture.fps`, from memory); a clip filmed and played at about one rate is no slow motion.
    """
    try:
        filmed = float(container.metadata.get("com.android.capture.fps", ""))
    except ValueError:
        return 1.0
    played = float(stream.average_rate or 0)
    ratio = filmed / played if played > 0 else 1.0
    return ratio if SLOWED_FROM <= ratio <= SLOWED_TO else 1.0


def claimed_duration(container: av.container.InputContainer, stream: av.VideoStream) -> float | None:
    """Seconds of life that the file says it shows; None where it does not say."""
    if stream.duration and stream.time_base and stream.duration > 0:
        return float(stream.duration * stream.time_base) / slowed(container, stream)
    return container.duration / av.time_base / slowed(container, stream) if container.duration and container.duration > 0 else None


def made_on(metadata: dict[str, str]) -> date | None:
    """The day of recording in the club's own time zone, taken to be this computer's."""
    for key in ("com.apple.quicktime.creationdate", "creation_time", "date", "DATE_RECORDED"):
        try:
            made = datetime.fromisoformat(metadata.get(key, ""))
        except ValueError:
            continue
        if key == "creation_time":  # UTC by definition; Apple's carries its own zone
            made = made.replace(tzinfo=made.tzinfo or UTC).astimezone()
        if possible(made.date(), date.today()):
            return made.date()
    return None


def words(error: Exception) -> str:
    """FFmpeg's own words without the file's path."""
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
