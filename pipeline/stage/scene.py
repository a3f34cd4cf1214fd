"""A scene: who does what, where, filmed how; and producing its clip, its joints and its true details."""

from __future__ import annotations

import copy
import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from pipeline.stage.bodies import Body, Shape, body
from pipeline.stage.camera import Camera, Shot, film
from pipeline.stage.clothes import Outfit, dress
from pipeline.stage.hall import Hall, build
from pipeline.stage.joints import heights, landmarks
from pipeline.stage.motions.backward_roll import RollStyle, backward_roll
from pipeline.stage.motions.bystanders import bystander
from pipeline.stage.motions.cartwheel import CartwheelStyle, cartwheel
from pipeline.stage.motions.chained import chained
from pipeline.stage.motions.lunge import LoadedLungeStyle, LungeStyle, loaded_lunge, lunge
from pipeline.stage.motions.movement import Movement
from pipeline.stage.motions.shoulder_stand import ShoulderStandStyle, shoulder_stand
from pipeline.stage.phone import Darkroom, Phone
from pipeline.stage.timing import RATE
from pipeline.stage.truth import TrueAttempt, true_attempt
from pipeline.vocabulary import Side

Style = LungeStyle | LoadedLungeStyle | CartwheelStyle | RollStyle | ShoulderStandStyle
DO: dict[type, Callable[..., Movement]] = {
    LungeStyle: lunge,
    LoadedLungeStyle: loaded_lunge,
    CartwheelStyle: cartwheel,
    RollStyle: backward_roll,
    ShoulderStandStyle: shoulder_stand,
}
TRUTH_COLUMNS = (
    "clip",
    "skill",
    "attempt",
    "start_s",
    "end_s",
    "key_start_s",
    "key_end_s",
    "detail",
    "side",
    "value",
    "unit",
    "lead_side",
    "direction",
)


@dataclass(frozen=True)
class Extra:
    """Someone else in the picture. at : where on the floor (x to the right, y away from the camera), yaw : where they look."""

    shape: Shape
    outfit: Outfit
    kind: str
    at: tuple[float, float]
    yaw: float = 0.0


@dataclass(frozen=True)
class Scene:
    """Everything about one clip; the same scene always gives the same clip."""

    name: str
    shape: Shape
    outfit: Outfit
    styles: tuple[Style, ...]
    faces: int = 1  # +1 the athlete faces the picture's right at the start, -1 its left
    extras: tuple[Extra, ...] = ()
    hall: Hall = field(default_factory=Hall)
    shot: Shot = field(default_factory=Shot)
    phone: Phone = field(default_factory=Phone)
    fps: int = 30  # a divisor of 120
    variable: bool = False  # frame times wander
    stays: bool = False  # the phone is held further off where the athlete would leave the picture
    blend: float = 0.0  # seconds over which one skill's last pose goes over into the next one's first
    turn: int = 0  # stored turned
    crf: int = 27
    samples: int = 4  # drawn per pixel; 0 is twice as fast, with rougher edges
    preset: str = "medium"  # of the encoder
    seed: int = 0


@dataclass
class Acted:
    """A scene played out: the athlete's movement in the world, the camera, and the frames that are shown."""

    body: Body
    movement: Movement
    camera: Camera  # at every moment of the movement
    frames: np.ndarray  # (n,) moments shown
    attempts: tuple[TrueAttempt, ...]
    joints: dict[str, np.ndarray]  # at every moment
    low: dict[str, np.ndarray]
    rng: np.random.Generator  # as it was before filming


def act(scene: Scene) -> Acted:
    """Play the scene without drawing it."""
    rng = np.random.default_rng(scene.seed)
    who = body(scene.shape)
    movement = chained([DO[type(style)](who, style, rng) for style in scene.styles], who, blend=scene.blend)
    movement = movement.turned(0.0 if scene.faces > 0 else 180.0, (0.0, 0.0))
    hips = _hips(who, movement)
    movement = movement.turned(0.0, tuple(-0.5 * (hips.min(0) + hips.max(0))[:2]))
    joints, low = landmarks(who, movement.placed), heights(who, movement.placed)
    return refilmed(scene, who, movement, joints, low, rng)


def refilmed(scene: Scene, who: Body, movement: Movement, joints: dict, low: dict, rng: np.random.Generator) -> Acted:
    """A movement seen through the scene's camera. rng is left as it was, so that the same movement can be filmed again."""
    after = copy.deepcopy(rng)
    camera = film(scene.shot, movement.t, _hips(who, movement), who.height, after)
    for _ in range(20 if scene.stays else 0):
        if _inside(camera, joints):
            break
        scene = replace(scene, shot=replace(scene.shot, share=0.94 * scene.shot.share, zoom=min(scene.shot.zoom, 1.0)))
        after = copy.deepcopy(rng)
        camera = film(scene.shot, movement.t, _hips(who, movement), who.height, after)
    attempts = tuple(true_attempt(movement.t, joints, low, span, _near(movement.t, joints, camera, span)) for span in movement.spans)
    return Acted(who, movement, camera, _shown(scene, len(movement.t), after), attempts, joints, low, rng)


def _inside(camera: Camera, joints: dict[str, np.ndarray], margin: float = 0.02) -> bool:
    """Whether every joint is in the picture all the time, but for a margin."""
    xy, _ = camera.project(np.stack(list(joints.values()), 1)[:: int(RATE) // 20], slice(None, None, int(RATE) // 20))
    size = np.array([camera.width, camera.height])
    return bool(np.all((xy > margin * size) & (xy < (1 - margin) * size)))


def _hips(who: Body, movement: Movement) -> np.ndarray:
    return 0.5 * (movement.placed.joint(who, "upperleg01.L") + movement.placed.joint(who, "upperleg01.R"))


def _near(t, joints, camera: Camera, span) -> Side:
    """The side nearer to the camera in the middle of the skill."""
    i = int(np.argmin(np.abs(t - (0.5 * sum(span.hold) if span.hold else span.start_s))))
    depth = {s: camera.project(joints[f"{s}_hip"][i : i + 1], i)[1][0] for s in ("left", "right")}
    return Side.LEFT if depth["left"] < depth["right"] else Side.RIGHT


def _shown(scene: Scene, n: int, rng: np.random.Generator) -> np.ndarray:
    step = int(RATE) // scene.fps
    if not scene.variable:
        return np.arange(0, n, step)
    steps = rng.choice([step, step, step, step + 1, step + 2, 2 * step], size=n)
    at = np.concatenate([[0], np.cumsum(steps)])
    return at[at < n]


def pictures(scene: Scene, acted: Acted) -> Iterator[np.ndarray]:
    """The scene's frames, (h, w, 3) uint8 RGB as displayed."""
    from pipeline.stage.draw import Player, Stage

    rng = np.random.default_rng([scene.seed, 1])
    players = [Player(dress(acted.body, scene.outfit, rng), acted.movement.placed)]
    for extra in scene.extras:
        other = body(extra.shape)
        there = bystander(other, extra.kind, float(acted.movement.t[-1]), rng).turned(extra.yaw, extra.at)
        players.append(Player(dress(other, extra.outfit, rng), there.placed))
    hips = _hips(acted.body, acted.movement)
    last = len(acted.movement.t) - 1
    reach = scene.phone.shutter // 2
    darkroom = Darkroom(scene.phone, scene.shot.width, scene.shot.height, rng)
    with Stage(build(scene.hall, rng), scene.hall, scene.shot.width, scene.shot.height, samples=scene.samples) as stage:
        for i in acted.frames:
            parts = [int(np.clip(i + k, 0, last)) for k in range(-reach, reach + 1)]
            drawn = [stage.picture(acted.camera, k, players, hips[k]) for k in parts]
            yield darkroom.develop(drawn[0] if len(drawn) == 1 else np.mean(drawn, axis=0).astype(np.uint8))


def produce(scene: Scene, clip: Path, joints_csv: Path | None = None, *, draw: bool = True) -> list[dict[str, str]]:
    """Draw the scene into `clip`, write its joints to `joints_csv` and return its truth rows (TRUTH_COLUMNS).

    draw : False leaves the clip as it is and writes only what is true of it.
    """
    from pipeline.stage.encode import write_clip

    acted = act(scene)
    if draw:
        write_clip(clip, pictures(scene, acted), acted.movement.t[acted.frames], crf=scene.crf, turn=scene.turn, preset=scene.preset)
    if joints_csv is not None:
        write_joints(joints_csv, acted)
    return truth_rows(scene, clip.name, acted)


def truth_rows(scene: Scene, clip: str, acted: Acted) -> list[dict[str, str]]:
    """One row a detail and side."""
    rows = []
    for number, attempt in enumerate(acted.attempts, 1):
        s = attempt.span
        for d in attempt.details:
            values = (clip, s.skill, number, f"{s.start_s:.3f}", f"{s.end_s:.3f}", f"{attempt.key[0]:.3f}", f"{attempt.key[1]:.3f}",
                      d.detail, d.side, f"{round(d.value, 3) + 0.0:.3f}", d.unit, s.lead, scene.faces)  # fmt: skip
            rows.append(dict(zip(TRUTH_COLUMNS, (str(v) for v in values), strict=True)))
    return rows


def write_joints(path: Path, acted: Acted) -> None:
    """One row a shown frame: t, then for each landmark x, y in display pixels and wx, wy, wz in metres; heights at the end."""
    i = acted.frames
    header, columns = ["t"], [[f"{t:.4f}" for t in acted.movement.t[i]]]
    camera = acted.camera
    shown = Camera(camera.turn[i], camera.eye[i], camera.focal[i], camera.width, camera.height)
    for name, world in acted.joints.items():
        pixels, _ = shown.project(world[i][:, None])
        for axis, values in (("x", pixels[:, 0, 0]), ("y", pixels[:, 0, 1])):
            header.append(f"{name}_{axis}")
            columns.append([f"{v:.1f}" for v in values])
        for k, axis in enumerate(("wx", "wy", "wz")):
            header.append(f"{name}_{axis}")
            columns.append([f"{v:.4f}" for v in world[i, k]])
    for name, height in acted.low.items():
        header.append(name)
        columns.append([f"{v:.4f}" for v in height[i]])
    with open(path, "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(header)
        out.writerows(zip(*columns, strict=True))
