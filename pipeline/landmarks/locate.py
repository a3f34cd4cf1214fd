"""Video in, one athlete's track out: find, follow both ways, join, choose, clean."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

from pipeline.clips.video import UnreadableClip, frames, probe
from pipeline.landmarks import models
from pipeline.landmarks.borrowed import give_back
from pipeline.landmarks.camera import camera_shift
from pipeline.landmarks.choose import CLOSE_CALL, MOST_POSSIBLE, OPEN_CHOICE, POSSIBLE, Activity, activity, bystanders, doubt, scores
from pipeline.landmarks.claims import wardrobes
from pipeline.landmarks.clean import drop_wild, off_picture, sort_sides
from pipeline.landmarks.detector import Detector, Found
from pipeline.landmarks.doubts import look_at_doubts
from pipeline.landmarks.follow import follow_everyone, look_closer
from pipeline.landmarks.join import Person, people_of
from pipeline.landmarks.looks import could_be_one, size_of
from pipeline.landmarks.net import LandmarkNet
from pipeline.landmarks.paths import apart, torso
from pipeline.landmarks.people import survey
from pipeline.landmarks.refine import look_mirrored
from pipeline.landmarks.seek import fill_gaps
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.spool import Spool, stretches
from pipeline.landmarks.track import N, Track

log = logging.getLogger(__name__)
OVERLAP_S = 1.0  # stretches of a long clip share so much, to know people again
DECODERS_PICTURES, FULL_HD_BYTES = 4, 6_300_000  # what a decoder holds, beyond what was counted on: full HD in ten bits
KNOWN_AGAIN = 0.4  # torsos
WORTH_AROUND_S = 0.4  # a moving picture shows as much

Worth = Callable[[Track], Sequence[tuple[float, float]]]  # a track to (start, end) in seconds


@dataclass
class _Followed:
    """One person through one or more stretches."""

    pieces: list[Person]
    done: list[Activity]
    looks: list[tuple[np.ndarray, float]]  # clothes (n, 26, 3) and torso length, of the first piece

    def score(self, largest: float) -> float:
        """How active this one was, beside others of whom the largest has so long a torso."""
        done = [a.among(largest) for a in self.done]
        return max(done) + 0.1 * sum(done)


def track_athlete(
    path: Path,
    settings: LandmarkSettings,
    *,
    source: str,
    progress: Callable[[float], None] | None = None,
    worth: Worth | None = None,
) -> Track:
    """The athlete of a clip, in display-orientation pixels of the full-size picture.

    `worth` says of a track of one look when something may be measured: there and WORTH_AROUND_S around each frame is looked at twice, in
    the others of a clip of one stretch once, or in every third while she stands about. Everywhere where it says nothing, or is not given.
    `progress` is called with the seconds of the clip that are done. Raises MatsideError where the clip cannot be read or
    the model file is wrong. Nobody found gives a track without any seen frame.
    """
    video = probe(path)
    model = models.landmark_model(settings.model)
    second = models.second_model(model, settings.second_look)
    net, again, detector = _networks(models.fast_file(model), models.fast_file(second) if second else None, models.detector_path())
    times: list[float] = []
    followed: list[_Followed] = []
    scale, notes = 1.0, []
    worth_it = partial(_worth_it, worth, (video.width, video.height))
    decoded = frames(path, longest_side=settings.longest_side)
    try:
        for spool in stretches(
            decoded, most_bytes=_room(settings, video.frame_bytes), overlap_s=OVERLAP_S, most_per_second=settings.most_frames_per_second
        ):
            scale = spool.scale
            times[spool.first :] = spool.t
            _stretch(net, again, detector, spool, settings, followed, worth_it)
            if progress is not None:
                progress(spool.t[-1])
            del spool  # or two stretches would be held at once
    except UnreadableClip as error:
        if not times:
            raise
        notes.append(str(error))
    return _finished(followed, np.array(times), scale, (video.width, video.height), source, notes)


@lru_cache(maxsize=2)
def _networks(first: Path, second: Path | None, detector: Path) -> tuple[LandmarkNet, LandmarkNet | None, Detector]:
    """The networks of these files, kept from clip to clip: a worker's next clip mostly needs the same, and to load them costs as long as
    ten looks."""
    net = LandmarkNet(first)
    return net, net if second == first else LandmarkNet(second) if second else None, Detector(detector)


def _room(settings: LandmarkSettings, frame_bytes: int) -> int:
    """Bytes for the pictures of a stretch: less where the decoder needs much for its own, as it does of 4K in ten bits."""
    decoder = max(0, DECODERS_PICTURES * (frame_bytes - FULL_HD_BYTES))
    return max(settings.memory_mb * 1_000_000 - decoder, settings.memory_mb * 500_000)


def _stretch(
    net: LandmarkNet,
    again: LandmarkNet | None,
    detector: Detector,
    spool: Spool,
    settings: LandmarkSettings,
    followed: list[_Followed],
    worth_it: Callable[[Person, Spool], np.ndarray],
) -> None:
    """Follow everybody worth it in one stretch, and add them to whom they were before. `again` takes the second look, at frames that are
    `worth_it` (n,)."""
    camera, t = camera_shift(spool), np.asarray(spool.t)
    sightings = survey(spool, detector, camera, per_second=settings.find_per_second, least=settings.find_score)
    found: dict[int, list[Found]] = {}
    for sighting in sightings:
        for number, one in zip(sighting.frames, sighting.found, strict=True):
            found.setdefault(number, []).append(one)
    ahead = follow_everyone(net, spool, found, 1)
    standing_by = bystanders(ahead, t, camera)
    paths = ahead + follow_everyone(net, spool, found, -1, other_way=ahead, scenery=standing_by)
    people = people_of(paths, sightings, t)
    did = [activity(person, t, camera, width=spool.size[0]) for person in people]
    worn = wardrobes(people)
    active = scores(did)
    for k, score in enumerate(active):
        if score > CLOSE_CALL * max(active) and not people[k].valid.all():
            fill_gaps(net, spool, people, k, worn, t)
            did[k] = activity(people[k], t, camera, width=spool.size[0])
    active = scores(did)
    for person, score in zip(people, active, strict=True):
        if score > CLOSE_CALL * max(active):
            others = [p for p in people if p is not person]
            rows = worth_it(person, spool)
            look_closer(net, spool, person, others, rows)
            if again is not None:
                look_mirrored(again, spool, person, others, rows)
                give_back((net, again), spool, person, others)
                look_at_doubts((net, again), spool, person, others, t)
    for person, done in zip(people, did, strict=True):
        before = next((f for f in followed if _continues(f.pieces[-1], person)), None)
        if before is None:
            followed.append(_Followed([person], [done], [(person.clothes, size_of(person.xy))]))
        else:
            before.pieces.append(person)
            before.done.append(done)
    if spool.full:  # more of the clip follows: of a long one, most of the memory would go to what nobody asks for again
        for one in followed:
            one.pieces = [_slim(piece) if len(piece.peak) else piece for piece in one.pieces]


def _worth_it(worth: Worth | None, size: tuple[int, int], person: Person, spool: Spool) -> np.ndarray:
    """(n,) bool: frames of a stretch in which something of a person may be measured; all where part of the clip is out of sight, since
    what a border of stretches cuts in two is not known for what it is."""
    t = np.asarray(spool.t)
    whole_clip = spool.first == 0 and not spool.full
    spans = worth(_whole([person], t, spool.scale, size, "")) if worth and whole_clip else ()
    if not spans:
        return np.ones(len(t), bool)
    return np.any([(t >= start - WORTH_AROUND_S) & (t <= end + WORTH_AROUND_S) for start, end in spans], axis=0)


def _slim(person: Person) -> Person:
    """A person of a stretch that is done, in a sixth of the room: only what the track is made of, to a thousandth of its value."""
    kept = {name: getattr(person, name).astype(np.float16) for name in ("z", "visibility", "disagreement", "presence")}
    return replace(
        person, **kept, xy=person.xy.astype(np.float32), chosen=person.chosen.astype(np.int16), peak=np.empty((0, N)), looked=None,
        clothes=None,
    )  # fmt: skip


def _continues(before: Person, now: Person) -> bool:
    """The two are one person where their stretches overlap."""
    start, stop = now.first, before.first + len(before.xy)
    if stop <= start:
        return False
    a, b = before.xy[start - before.first :], now.xy[: stop - start]
    size = np.fmax(torso(a), 1.0)
    distance = apart(a, b, size)
    return bool(np.isfinite(distance).any() and np.nanmedian(distance) < KNOWN_AGAIN)


def _possible(followed: list[_Followed]) -> list[tuple[list[Person], float]]:
    """Who may be the athlete, the most active first: the pieces of each, and the share of the first one's activity that was reached.

    The first one's pieces are joined by those of whoever looks the same at other times.
    """
    if not followed:
        return []
    largest = max(a.size for f in followed for a in f.done)
    ranked = sorted(followed, key=lambda f: -f.score(largest))
    winner, others = ranked[0], []
    pieces = list(winner.pieces)
    for one in ranked[1:]:
        apart_in_time = all(_shared_frames(a, b) <= 0.1 * min(len(a.xy), len(b.xy)) for a in pieces for b in one.pieces)
        if apart_in_time and could_be_one(winner.looks[0], one.looks[0]):
            pieces += one.pieces
        else:
            others.append((one.pieces, one.score(largest) / max(winner.score(largest), 1e-9)))
    return [(pieces, 1.0), *[other for other in others if other[1] > POSSIBLE][:MOST_POSSIBLE]]


def _shared_frames(a: Person, b: Person) -> int:
    """Frames in which both were seen."""
    start, stop = max(a.first, b.first), min(a.first + len(a.xy), b.first + len(b.xy))
    return int((a.valid[start - a.first : stop - a.first] & b.valid[start - b.first : stop - b.first]).sum()) if stop > start else 0


def _finished(followed: list[_Followed], t: np.ndarray, scale: float, size: tuple[int, int], source: str, notes: list[str]) -> Track:
    """The track of the most active person, with those of others who may be the athlete."""
    possible = _possible(followed) or [([], 1.0)]
    unsure = doubt([share for _, share in possible])
    if unsure > CLOSE_CALL:
        notes = [*notes, f"{OPEN_CHOICE} ({100 * unsure:.0f} %); which of them was filmed cannot be told."]
    first, *others = [_whole(pieces, t, scale, size, source) for pieces, _ in possible]
    return replace(first, notes=tuple(notes), others=tuple(others))


def _whole(pieces: list[Person], t: np.ndarray, scale: float, size: tuple[int, int], source: str) -> Track:
    """One person's track over the whole clip, sides sorted, without what is plainly wrong."""
    n = len(t)
    xy, presence = np.full((n, N, 2), np.nan), np.zeros(n)
    z, visibility, disagreement = (np.full((n, N), np.nan) for _ in range(3))
    sure = np.zeros((n, N), bool)
    for piece in pieces:
        rows = slice(piece.first, piece.first + len(piece.xy))
        fresh = ~np.isfinite(xy[rows, 0, 0])
        for whole, part in (
            (xy, piece.xy),
            (z, piece.z),
            (visibility, piece.visibility),
            (disagreement, piece.disagreement),
            (presence, piece.presence),
            (sure, piece.sure),
        ):
            if part is not None:
                whole[rows][fresh] = part[fresh]
    if np.isfinite(xy).any():
        body = float(np.nanmedian(torso(xy)))
        sort_sides(xy, body, z, visibility, disagreement, sure)
        wild = (drop_wild(xy, t, body) & ~sure) | off_picture(xy, size[0] * scale, size[1] * scale, body)
        for values in (xy, z, visibility, disagreement):
            values[wild] = np.nan
    return Track(t, (xy + 0.5) / scale, z / scale, visibility, presence, disagreement / scale, size, source)
