"""Drawn crops and their labels say the same."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.landmarks.tuning.convention import mirror_order, offsets
from pipeline.landmarks.tuning.draw import Artist, Crop
from pipeline.landmarks.tuning.labels import LABEL, SIZE, WIDTH, as_matrix, split
from pipeline.landmarks.tuning.poses import Kind
from pipeline.landmarks.tuning.raster import DepthPicture, skin, vertex_normals
from pipeline.landmarks.tuning.scene import Camera

pytestmark = pytest.mark.usefixtures("compiler")
TRUNK_AND_LEGS = [11, 12, 23, 24, 25, 26, 27, 28]


def test_a_triangle_covers_half_its_box_and_the_nearer_one_hides_the_other():
    picture = DepthPicture(64)
    square = np.array([[0, 0, 0.5], [64, 0, 0.5], [0, 64, 0.5]], np.float32)
    picture.draw(square, np.array([[0, 1, 2]], np.int32), 0)
    assert abs(np.count_nonzero(picture.face == 0) - 64 * 64 / 2) <= 64
    picture.draw(square * [1, 1, 3], np.array([[0, 1, 2]], np.int32), 7)
    assert not (picture.face == 0).any() and picture.depth.max() == pytest.approx(1.5)
    picture.draw(square * [1, 1, -1], np.array([[0, 1, 2]], np.int32), 9)  # behind the camera
    assert not (picture.face == 9).any()


def test_skinning_moves_each_vertex_with_its_bone_and_blends_between():
    bones = np.tile(np.eye(3, 4), (2, 1, 1))
    bones[1, :, 3] = [1, 2, 3]
    rest = np.zeros((3, 3), np.float32)
    weight = np.array([[1, 0], [0, 1], [0.5, 0.5]], np.float32)
    moved = skin(rest, np.tile(np.array([0, 1], np.uint8), (3, 1)), weight, bones)
    assert_allclose(moved, [[0, 0, 0], [1, 2, 3], [0.5, 1, 1.5]])


def test_normals_of_a_flat_square_point_up():
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], np.float32)
    assert_allclose(vertex_normals(corners, np.array([[0, 1, 2], [0, 2, 3]], np.int32)), np.tile([0, 0, 1], (4, 1)), atol=1e-6)


def test_crop_pixels_and_picture_are_each_others_inverse_and_rays_hit_what_they_came_from():
    crop, camera = Crop(np.array([0.1, -0.05]), 0.7, 0.4), Camera.looking(np.array([3.0, -1, 1.2]), np.array([0, 0, 0.5]), 5.0)
    points = np.random.default_rng(0).normal(0, 0.2, (9, 2))
    assert_allclose(crop.flat(crop.pixels(points)), points, atol=1e-12)
    world = np.array([0.2, 0.1, 0.6])
    pixel = crop.pixels(camera.flat(world[None]))[0]
    ray = crop.to_direction(camera, 2) @ [*(2 * pixel), 1]
    assert_allclose(np.cross(ray, world - camera.eye), 0, atol=1e-9)


@pytest.mark.parametrize("kind", list(Kind))
def test_joint_centres_lie_inside_the_drawn_body(bodies, kind, monkeypatch):
    artist, drawn = Artist(bodies, [0, 1, 2, 3], 5), []
    paint = artist._paint
    monkeypatch.setattr(artist, "_paint", lambda *a: drawn.append(paint(*a)) or drawn[-1])
    inside = []
    for _ in range(6):
        image, label = artist.draw(kind, gentle=True)
        _, picture, scale, _ = drawn[-1]
        body = picture.face.reshape(picture.size, picture.size) >= 0
        x, y = np.floor(label["xy"][TRUNK_AND_LEGS] * scale).astype(int).T
        inside.append(body[y, x].mean())
        assert image.shape == (SIZE, SIZE, 3) and image.dtype == np.uint8 and label["person"] == 1
    assert np.mean(inside) > 0.97


def test_a_gentle_crop_is_cut_as_the_family_cuts_it(bodies):
    artist = Artist(bodies, [0, 1], 3)
    for kind in (Kind.UPRIGHT, Kind.TUCK, Kind.CARTWHEEL):
        _, label = artist.draw(kind, gentle=True)
        assert_allclose(label["aux"][0], SIZE / 2, atol=0.01)  # the middle of the hips
        assert_allclose(
            label["aux"][1], [SIZE / 2, SIZE / 2 - SIZE / 2.5], atol=0.5
        )  # straight up, where 1.25 times the radius is half a side
        assert_allclose(label["world"][23] + label["world"][24], 0, atol=1e-5)
        assert label["xy"][[0, *range(11, 33)]].min() > 0 and label["xy"][:, :].max() < SIZE


def test_depth_and_world_agree_with_the_picture(bodies):
    _, label = Artist(bodies, [2], 8).draw(Kind.UPRIGHT, gentle=True)
    scale = label["torso"] / np.linalg.norm(label["world"][11] + label["world"][12]) * 2
    assert_allclose(label["z"], label["world"][:, 2] * scale, rtol=0.02, atol=0.5)
    seen, model = label["xy"] - label["xy"][23:25].mean(0), label["world"][:, :2] * scale
    assert np.abs(seen - model).max() < 0.12 * SIZE / 2.5  # perspective moves points, but not far


def test_same_seed_same_picture_and_nobody_has_no_person(bodies):
    (one, label), (two, again) = (Artist(bodies, [0, 1, 2], 4).draw(Kind.LUNGE) for _ in range(2))
    assert np.array_equal(one, two) and label == again
    image, label = Artist(bodies, [0], 4).draw_nobody()
    assert image.shape == (SIZE, SIZE, 3) and label["person"] == 0 and label["kind"] == -1


def test_labels_split_into_their_fields_without_copying():
    rows = np.zeros(3, LABEL)
    rows["xy"], rows["tilt"] = np.arange(66).reshape(33, 2), 12
    matrix = as_matrix(rows)
    parts = split(matrix)
    assert matrix.shape == (3, WIDTH) and np.shares_memory(parts["xy"], rows)
    for name in LABEL.names:
        assert np.array_equal(parts[name], rows[name])


def test_the_family_marks_both_sides_alike():
    table, order = offsets(), mirror_order()
    assert_allclose(table[order] * [-1, 1, 1], np.where((np.array(order) == np.arange(33))[:, None], table * [-1, 1, 1], table))
    assert table[11, 2] == pytest.approx(0.03) and [order[k] for k in order] == list(range(33))
