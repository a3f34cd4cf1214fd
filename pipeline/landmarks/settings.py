"""How landmarks are made. Whatever changes the track is in here, so that the key tells when to compute again."""

from __future__ import annotations

import hashlib
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

METHOD = 11  # raise when the code changes what it gives for the same settings
OTHER_MOMENTS = (1.5, 1.25)  # times as often, where a clip is followed once more, and a third time


class LandmarkSettings(BaseModel):
    """Settings of finding and following. Defaults were chosen by measuring on rendered clips with known joints."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    model: str = Field("tuned", description="Landmark model: 'tuned', 'wheel', or the path of a .tflite or .task file of the same family.")
    second_look: Literal["other", "same", "none"] = Field(
        "other", description="Who looks a second time at each frame of the athlete: another tuned model, the same one, or nobody."
    )
    closer_look: Literal["heavy", "none"] = Field(
        "heavy", description="Who looks closer at a few frames of each hold: a larger model, or nobody."
    )
    find_per_second: float = Field(4.0, gt=0, le=30, description="How often people are looked for.")
    find_score: float = Field(0.4, ge=0.1, le=0.95, description="Lowest score of the detector that counts as a person.")
    longest_side: int = Field(960, ge=240, le=4096, description="Longest side, in pixels, of the pictures worked on.")
    most_frames_per_second: float = Field(62.0, ge=10, le=480, description="Frames that come faster are passed over.")
    memory_mb: int = Field(240, ge=50, le=8000, description="Memory for pictures; longer clips are worked on in stretches.")

    def at_other_moments(self) -> tuple[LandmarkSettings, ...]:
        """The same, but people are looked for OTHER_MOMENTS as often, and so at other moments."""
        often = dict.fromkeys(min(times * self.find_per_second, 30.0) for times in OTHER_MOMENTS)
        return tuple(self.model_copy(update={"find_per_second": per_second}) for per_second in often if per_second != self.find_per_second)

    def key(self) -> str:
        """Short hash of the settings and the method; the models' own hashes are kept beside it (`models.used`), since a file can change."""
        return hashlib.sha256(
            f"{METHOD} {self.model_dump_json(exclude={'model', 'second_look', 'closer_look', 'memory_mb'})}".encode()
        ).hexdigest()[:10]
