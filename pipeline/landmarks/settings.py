"""How landmarks are made. Whatever changes the track is in here, so that the key tells when to compute again."""

from __future__ import annotations

import hashlib
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

METHOD = 12  # raise when the code changes what it gives for the same settings
AGAIN = ((1.5, 1.0), (2.5, 0.4), (1.25, 1.0))  # a clip in doubt: people looked for so many times as often, from so much of the score on


class LandmarkSettings(BaseModel):
    """Settings of finding and following. Defaults were chosen by measuring on rendered clips with known joints."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    model: str = Field("tuned", description="Landmark model: 'tuned', 'wheel', or the path of a .tflite or .task file of the same family.")
    second_look: Literal["other", "same", "none"] = Field(
        "other", description="Who looks a second time at each frame of the athlete: another tuned model, the same one, or nobody."
    )
    near_look: bool = Field(True, description="Whether models of their own look at a few frames of each hold and cartwheel from near by.")
    find_per_second: float = Field(4.0, gt=0, le=30, description="How often people are looked for.")
    find_score: float = Field(0.4, ge=0.1, le=0.95, description="Lowest score of the detector that counts as a person.")
    longest_side: int = Field(960, ge=240, le=4096, description="Longest side, in pixels, of the pictures worked on.")
    most_frames_per_second: float = Field(62.0, ge=10, le=480, description="Frames that come faster are passed over.")
    memory_mb: int = Field(240, ge=50, le=8000, description="Memory for pictures; longer clips are worked on in stretches.")

    def again(self) -> tuple[LandmarkSettings, ...]:
        """The same, but people are looked for at other moments, then also less surely: in which order to try where a clip is in doubt."""
        other = [
            self.model_copy(
                update={"find_per_second": min(often * self.find_per_second, 30.0), "find_score": max(least * self.find_score, 0.1)}
            )
            for often, least in AGAIN
        ]
        return tuple(dict.fromkeys(one for one in other if one != self))

    def key(self) -> str:
        """Short hash of the settings and the method; the models' own hashes are kept beside it (`models.used`), since a file can change."""
        return hashlib.sha256(
            f"{METHOD} {self.model_dump_json(exclude={'model', 'second_look', 'near_look', 'memory_mb'})}".encode()
        ).hexdigest()[:10]
