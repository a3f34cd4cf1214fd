"""Working-size frames held in memory for following both ways: half a byte less than half of RGB, and never a whole long clip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from pipeline.clips.video import Frame, UnreadableClip

MOTION_SIDE = 160  # longest side of the small grey pictures that movement is read from


@dataclass
class Spool:
    """A stretch of a clip. Index with the clip's own frame number; gives RGB of working size."""

    first: int = 0
    t: list[float] = field(default_factory=list)
    size: tuple[int, int] = (0, 0)  # (width, height) of the working picture
    scale: float = 1.0  # working pixels per full-size pixel
    full: bool = False  # more frames follow in the clip
    _packed: list[np.ndarray] = field(default_factory=list)
    _grey: list[np.ndarray] = field(default_factory=list)
    _last: tuple[int, np.ndarray] | None = None

    def __len__(self) -> int:
        return len(self.t)

    @property
    def end(self) -> int:
        """One past the last frame number held."""
        return self.first + len(self.t)

    @property
    def nbytes(self) -> int:
        """Memory held by the frames."""
        return sum(p.nbytes for p in self._packed[:1]) * len(self._packed)

    def append(self, frame: Frame) -> None:
        """Take the next frame of the clip."""
        import cv2

        if not self.t:
            self.first, self.scale = frame.index, frame.scale
        height, width = frame.image.shape[:2]
        self.size = (width, height)
        even = (
            cv2.copyMakeBorder(frame.image, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE) if height % 2 or width % 2 else frame.image
        )
        packed = cv2.cvtColor(even, cv2.COLOR_RGB2YUV_I420)
        shrink = MOTION_SIDE / max(width, height)
        grey = packed[: even.shape[0]]
        self._grey.append(cv2.resize(grey, (max(round(width * shrink), 8), max(round(height * shrink), 8)), interpolation=cv2.INTER_AREA))
        self._packed.append(packed)
        self.t.append(frame.t)

    def __getitem__(self, number: int) -> np.ndarray:
        """(height, width, 3) uint8 RGB of one frame by its number in the clip. It holds until another one is asked for, which is put in
        the same place: room for a picture costs four times as much as its colours."""
        import cv2

        if self._last is None or self._last[0] != number:
            room = None if self._last is None else self._last[1]
            self._last = number, cv2.cvtColor(self._packed[number - self.first], cv2.COLOR_YUV2RGB_I420, dst=room)
        width, height = self.size
        return self._last[1][:height, :width]

    def grey(self, number: int) -> np.ndarray:
        """The small grey picture of one frame."""
        return self._grey[number - self.first]

    def tail(self, count: int) -> Spool:
        """The last `count` frames as the beginning of the next stretch."""
        count = min(count, len(self))
        cut = len(self) - count
        return Spool(self.first + cut, self.t[cut:], self.size, self.scale, False, self._packed[cut:], self._grey[cut:])


def stretches(frames: Iterable[Frame], *, most_bytes: int, overlap_s: float, most_per_second: float) -> Iterator[Spool]:
    """A clip cut into stretches that fit the memory, each beginning with the last `overlap_s` seconds of the one before.

    Frames that come faster than `most_per_second` are passed over. A clip that breaks off gives what it has, then raises.
    """
    spool, taken_until = Spool(), -np.inf
    broken: UnreadableClip | None = None
    try:
        for frame in frames:
            if frame.t < taken_until:
                continue
            taken_until = frame.t + 0.9 / most_per_second  # a tenth of slack for uneven times
            if len(spool) and spool.nbytes + spool.nbytes // len(spool) > most_bytes:
                spool.full = True
                yield spool
                keep = int(np.sum(np.asarray(spool.t) >= spool.t[-1] - overlap_s))
                spool = spool.tail(min(keep, len(spool) // 2))
            spool.append(frame)
    except UnreadableClip as error:
        broken = error
    if len(spool):
        yield spool
    if broken is not None:
        raise broken
