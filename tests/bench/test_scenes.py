"""Scenes: which body each shows, and that the part to judge shares none with the part to tune on."""

from pipeline.bench.scenes import MORE, PARTS, bodies, body_of, scene


def test_no_body_is_in_both_parts_or_in_two_groups() -> None:
    groups = [bodies(part, first) for part in PARTS for first in (0, *(first for first, _ in MORE[part]))]
    everyone = [repr(shape) for group in groups for shape in group]
    assert len(everyone) == len(set(everyone)) > 80


def test_a_group_begins_where_it_is_said_to_and_holds_as_many() -> None:
    for part in PARTS:
        before = bodies(part, 0)
        for first, count in MORE[part]:
            assert bodies(part, first - 1) == before
            before = bodies(part, first)
            assert len(before) == count


def test_the_body_is_told_from_the_clips_name() -> None:
    for part in PARTS:
        for index in (3, 239, 240, 359, 360, 599, 600, 700):
            one = scene(part, index)
            told = body_of(f"{one.name}.mp4")
            assert bodies(part, index)[int(told.split()[-1])] == one.shape


def test_bodies_of_different_groups_have_different_names() -> None:
    names = {part: {(first, body_of(scene(part, first + k).name)) for first in (0, 240, 600) for k in range(40)} for part in PARTS}
    for part, seen in names.items():
        assert {told for first, told in seen if first == 0}.isdisjoint({told for first, told in seen if first == 240}), part
    tune = names["tune"]
    assert {told for first, told in tune if first == 240}.isdisjoint({told for first, told in tune if first == 600})
