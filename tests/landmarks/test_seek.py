"""Gaps sought again with a make-believe network: it sees whichever drawn body is nearest to the middle of the crop."""

from dataclasses import replace

import numpy as np

from pipeline.clips.video import Frame
from pipeline.landmarks.claims import wardrobes
from pipeline.landmarks.hide import LIMBS, TRUNK
from pipeline.landmarks.net import Guess
from pipeline.landmarks.paths import CORE, torso
from pipeline.landmarks.seek import fill_gaps
from pipeline.landmarks.spool import Spool
from pipeline.landmarks.track import N
from tests.landmarks.stickman import body, person_of
from tests.landmarks.test_claims import wearing

SIZE, N_FRAMES = 40.0, 30
T = np.arange(N_FRAMES) / 30
RED, GREEN = (220, 30, 30), (30, 160, 30)
RED_LAB, GREEN_LAB = (46.7, 69.5, 51.6), (57.7, -57.9, 51.0)  # CIE Lab (D65) of those sRGB colours


def filmed(*people):
    """Pictures of (bodies (n, 33, 2), colour) on grey."""
    import cv2

    spool = Spool()
    for i in range(N_FRAMES):
        image = np.full((300, 480, 3), 128, np.uint8)
        for bodies, colour in people:
            points = np.round(bodies[i]).astype(int)
            cv2.fillConvexPoly(image, cv2.convexHull(points[TRUNK]), colour)
            for a, b, _ in LIMBS:
                cv2.line(image, points[a].tolist(), points[b].tolist(), colour, 10)
        spool.append(Frame(i, float(T[i]), image, 1.0))
    return spool


class Nearest:
    """Sees the nearest of the bodies of the frame asked for last."""

    def __init__(self, spool, *bodies):
        self.bodies, self.asked = bodies, 0
        spool_get = type(spool).__getitem__

        class Asked(type(spool)):
            def __getitem__(inner, number):
                self.asked = number
                return spool_get(inner, number)

        spool.__class__ = Asked

    def read(self, pixels, crop, *, mirrored=False):
        here = [b[self.asked] for b in self.bodies]
        xy = min(here, key=lambda b: float(np.hypot(*(b[CORE[2:]].mean(0) - [crop.x, crop.y]))))
        middle, up = xy[CORE[2:]].mean(0), xy[CORE[:2]].mean(0) - xy[CORE[2:]].mean(0)
        return Guess(xy.copy(), np.zeros(N), np.ones(N), np.full(N, 0.9), 1.0, middle, middle + 1.9 * up / torso(xy) * SIZE)


def test_a_gap_beside_a_spotter_is_filled_with_the_athlete():
    athlete = np.array([body(100 + 4 * i, 150, SIZE) for i in range(N_FRAMES)])
    spotter = np.array([body(300, 150, SIZE)] * N_FRAMES)
    spool = filmed((spotter, GREEN), (athlete, RED))
    seen = athlete.copy()
    seen[10:20] = np.nan
    people = [person_of(seen, wearing(RED_LAB, N_FRAMES, 1)), person_of(spotter, wearing(GREEN_LAB, N_FRAMES, 2))]
    won = fill_gaps(Nearest(spool, athlete, spotter), spool, people, 0, wardrobes(people), T)
    assert won == 10 and people[0].valid.all()
    assert np.abs(people[0].xy - athlete).max() < 1e-6
    assert (people[0].disagreement[10:20] == 0).all()  # both sides saw it


def test_where_only_the_spotter_is_to_be_seen_the_gap_stays_a_gap():
    athlete = np.array([body(280, 150, SIZE)] * N_FRAMES)
    spotter = np.array([body(300, 150, SIZE)] * N_FRAMES)
    spool = filmed((spotter, GREEN))  # the athlete is out of sight behind
    seen, known = athlete.copy(), spotter.copy()
    seen[10:20] = np.nan
    known[10:20] = np.nan  # and nobody follows the spotter there, so that the clothes alone must tell
    people = [person_of(seen, wearing(RED_LAB, N_FRAMES, 1)), person_of(known, wearing(GREEN_LAB, N_FRAMES, 2))]
    assert fill_gaps(Nearest(spool, spotter), spool, people, 0, wardrobes(people), T) == 0
    assert not people[0].valid[10:20].any()


class Upright(Nearest):
    """Sees nobody in a crop turned far from the body."""

    def read(self, pixels, crop, *, mirrored=False):
        guess = super().read(pixels, crop, mirrored=mirrored)
        up = guess.top - guess.centre
        off = (np.arctan2(up[0], -up[1]) - crop.angle + np.pi) % (2 * np.pi) - np.pi
        return replace(guess, presence=float(abs(off) < 0.3))


def test_who_turns_faster_than_the_crop_is_found_in_one_turned_further():
    athlete = np.array([body(200, 150, SIZE, 0 if i < 10 else 25 * (i - 9) if i < 15 else 150) for i in range(N_FRAMES)])
    spool = filmed((athlete, RED))
    seen = athlete.copy()
    seen[10:15] = np.nan
    people = [person_of(seen, wearing(RED_LAB, N_FRAMES, 1))]
    assert fill_gaps(Upright(spool, athlete), spool, people, 0, wardrobes(people), T) == 5
    assert np.abs(people[0].xy - athlete).max() < 1e-6
