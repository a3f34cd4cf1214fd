"""The benchmark's scenes: two parts that share nothing, every kind in any stretch, the same scene each time it is asked for."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from pipeline.bench.scenes import BODIES, KINDS, MORE, PARTS, bodies, body_of, kind, leaves, scene
from pipeline.stage.motions.cartwheel import CartwheelStyle
from pipeline.stage.motions.lunge import LoadedLungeStyle, LungeStyle
from pipeline.stage.motions.shoulder_stand import ShoulderStandStyle

MANY = {part: [scene(part, i) for i in range(120)] for part in PARTS}


def test_any_dozen_holds_every_kind_alike_and_ten_dozen_hold_ten_routines():
    for first in range(0, 120, len(KINDS)):
        assert Counter(kind(i) for i in range(first, first + len(KINDS))) == Counter(KINDS)
    assert Counter(kind(i) for i in range(120))["routine"] == 10
    for part in PARTS:
        for i, s in enumerate(MANY[part]):
            assert (len(s.styles) == 4) == (kind(i) == "routine") == (s.blend > 0)


def test_the_parts_share_no_body_no_seed_and_no_cloth():
    tune, report = (MANY[part] for part in PARTS)
    assert not set(BODIES["tune"]) & set(BODIES["report"])
    for get in (lambda s: s.seed, lambda s: s.outfit.top, lambda s: s.hall.mat, lambda s: s.name):
        assert not {get(s) for s in tune} & {get(s) for s in report}
    for a, part in ((tune, "tune"), (report, "report")):
        assert {x.shape for s in a for x in (s, *s.extras)} <= set(BODIES[part])


def test_later_scenes_show_many_other_bodies_and_the_parts_still_share_none():
    for group in range(2):
        first = {part: MORE[part][group][0] for part in PARTS}
        later = {part: [scene(part, i) for i in range(first[part], first[part] + 120)] for part in PARTS}
        tune, report = ({x.shape for s in later[part] for x in (s, *s.extras)} for part in PARTS)
        assert not tune & report and not (tune | report) & {shape for shapes in BODIES.values() for shape in shapes}
        for part in PARTS:
            shown = {s.shape for s in later[part]}
            assert shown <= set(bodies(part, first[part])) and len(shown) >= 0.8 * MORE[part][group][1]
            assert len({(body_of(s.name), s.shape) for s in later[part]}) == len({body_of(s.name) for s in later[part]}) == len(shown)
            assert not {body_of(s.name) for s in later[part]} & {body_of(s.name) for s in MANY[part]}


def test_a_scene_is_the_same_whenever_it_is_asked_for():
    assert scene("tune", 37) == MANY["tune"][37] and scene("report", 8) == MANY["report"][8]


def test_the_athlete_leaves_the_picture_in_a_named_few_only_and_never_in_a_routine():
    few = [i for i in range(120) if leaves(i)]
    assert 3 <= len(few) <= 8 and all(kind(i) != "routine" for i in few)
    assert all(s.stays != leaves(i) for part in PARTS for i, s in enumerate(MANY[part]))


@pytest.mark.parametrize("part", PARTS)
def test_ranges_are_as_wide_as_beginners_are(part):
    styles = [style for s in MANY[part] for style in s.styles]
    stands = [s for s in styles if isinstance(s, ShoulderStandStyle)]
    assert np.histogram([s.hip for s in stands], bins=[95, 120, 145, 170, 201])[0].min() >= 2
    assert {s.hands for s in stands} == {0, 1, 2} and {np.sign(s.turn) for s in stands} == {-1, 0, 1}
    wheels = [s for s in styles if isinstance(s, CartwheelStyle)]
    assert min(s.straddle for s in wheels) < 0.6 and max(s.straddle for s in wheels) > 1.2 and {s.extra for s in wheels} == {0, 1, 2, 3}
    assert min(s.toes for s in wheels) < 0 and max(s.toes for s in wheels) > 50
    loaded = [s for s in styles if isinstance(s, LoadedLungeStyle)]
    assert loaded and any(isinstance(s, LungeStyle) and s.then for s in styles)
    walkers = [x for s in MANY[part] for x in s.extras if x.kind == "walk"]
    assert len(walkers) >= 10 and all(min(abs(x.yaw), abs(x.yaw - 180)) <= 6 for x in walkers)  # across the picture, not into it


def test_no_body_is_in_both_parts_or_in_two_groups():
    groups = [bodies(part, first) for part in PARTS for first in (0, *(first for first, _ in MORE[part]))]
    everyone = [repr(shape) for group in groups for shape in group]
    assert len(everyone) == len(set(everyone)) > 80


def test_a_group_begins_where_it_is_said_to_and_holds_as_many():
    for part in PARTS:
        before = bodies(part, 0)
        for first, count in MORE[part]:
            assert bodies(part, first - 1) == before
            before = bodies(part, first)
            assert len(before) == count


def test_the_body_is_told_from_the_clips_name():
    for part in PARTS:
        for index in (3, 239, 240, 359, 360, 599, 600, 700):
            one = scene(part, index)
            told = body_of(f"{one.name}.mp4")
            assert bodies(part, index)[int(told.split()[-1])] == one.shape
