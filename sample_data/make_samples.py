"""Draw the sample clips, their true joints and their true details:  python sample_data/make_samples.py [--only STEM ...] [--truth]

Needs the extra `render`. The same scenes always give the same clips (up to the encoder's version).
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import sys
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from pipeline.stage.bodies import Shape  # noqa: E402
from pipeline.stage.camera import Shot  # noqa: E402
from pipeline.stage.clothes import Outfit  # noqa: E402
from pipeline.stage.hall import BRICK, PANEL, PLAIN, WOOD, Hall  # noqa: E402
from pipeline.stage.motions.backward_roll import RollStyle  # noqa: E402
from pipeline.stage.motions.cartwheel import CartwheelStyle  # noqa: E402
from pipeline.stage.motions.lunge import LoadedLungeStyle, LungeStyle  # noqa: E402
from pipeline.stage.motions.shoulder_stand import ShoulderStandStyle  # noqa: E402
from pipeline.stage.phone import Phone  # noqa: E402
from pipeline.stage.scene import TRUTH_COLUMNS, Extra, Scene, produce  # noqa: E402
from pipeline.vocabulary import Side  # noqa: E402

LEFT, RIGHT = Side.LEFT, Side.RIGHT

# The children: code -> body and usual clothes. Invented.
OT1 = Shape(years=7.0, weight=0.38, proportions=0.6)
OT2 = Shape(years=8.2, weight=0.5, muscle=0.45, proportions=0.5)
OT3 = Shape(years=6.2, weight=0.45, proportions=0.55)
HE1 = Shape(years=9.3, weight=0.35, muscle=0.6, proportions=0.7)
HE3 = Shape(years=8.6, weight=0.42, girl=0.0, muscle=0.55)
CU1 = Shape(years=10.0, weight=0.4, muscle=0.6, proportions=0.65)
COACH = Shape(years=30, weight=0.45, girl=1.0)

BLUE_HALL = Hall()
GREEN_HALL = Hall(mat=(0.18, 0.42, 0.30), wall=(0.70, 0.74, 0.78), wall_kind=PANEL, wall_band=(0.55, 0.50, 0.42), floor=(0.50, 0.47, 0.43),
                  floor_kind=PLAIN, light_from=(0.5, -0.4, 1.0), clutter=4)  # fmt: skip
RED_HALL = Hall(mat=(0.55, 0.18, 0.16), wall=(0.83, 0.80, 0.70), wall_kind=PLAIN, wall_band=(0.40, 0.34, 0.30), floor=(0.60, 0.50, 0.36),
                floor_kind=WOOD, light_from=(0.1, -0.7, 0.9), wall_at=4.0)  # fmt: skip
GREY_HALL = Hall(mat=(0.36, 0.40, 0.46), wall=(0.72, 0.68, 0.62), wall_kind=BRICK, wall_band=(0.26, 0.36, 0.50), floor=(0.42, 0.52, 0.46),
                 floor_kind=PLAIN, light_from=(-0.6, -0.2, 0.9), wall_at=2.6, clutter=2)  # fmt: skip

PINK = Outfit("leotard", top=(0.62, 0.12, 0.34), skin="light", hair="brown")
NAVY = Outfit("long leotard", top=(0.10, 0.14, 0.36), skin="olive", hair="black", pattern=1.0)
TEAL = Outfit("tee and shorts", top=(0.85, 0.83, 0.78), bottom=(0.08, 0.30, 0.32), skin="tan", hair="black", tail="short")
PURPLE = Outfit("leotard", top=(0.33, 0.16, 0.46), skin="dark", hair="black")
LEGGINGS = Outfit("leggings", top=(0.80, 0.42, 0.15), bottom=(0.09, 0.09, 0.11), skin="porcelain", hair="red", tail="tail")
SHORTS = Outfit("tee and shorts", top=(0.20, 0.45, 0.28), bottom=(0.12, 0.12, 0.16), skin="brown", hair="black", tail="short")
COACH_KIT = Outfit("tracksuit", top=(0.12, 0.20, 0.34), bottom=(0.10, 0.10, 0.13), skin="light", hair="fair", tail="tail", socks=True)

WIDE = Shot(960, 540, share=0.50)
TALL = Shot(540, 960, share=0.33, field=62)

SCENES = (
    # a good lunge, left leg in front
    Scene("OT-01_2026-03-02_1", OT1, PINK, (LungeStyle(lead=LEFT, before=0.6, after=0.4, pace=0.9),), faces=1, hall=BLUE_HALL, shot=WIDE, seed=11),
    # a backward roll with the knees well off the floor
    Scene("OT-02_2026-03-02_1", OT2, TEAL, (RollStyle(lead=RIGHT, clear=0.85, before=0.6, after=0.4, pace=0.9),), faces=-1, hall=BLUE_HALL,
          shot=replace(WIDE, off_square=6, up=0.9), seed=12),
    # a good shoulder stand, the hands support the back
    Scene("HE-01_2026-03-03_1", HE1, NAVY, (ShoulderStandStyle(lead=LEFT, hip=177, before=0.5, after=0.3, pace=0.82, hold=1.1),), faces=1,
          hall=GREEN_HALL, shot=replace(WIDE, share=0.48), seed=13),
    # a good cartwheel, left leads
    Scene("HE-01_2026-03-03_2", HE1, NAVY, (CartwheelStyle(lead=LEFT, before=0.5, after=0.4),), faces=1, hall=GREEN_HALL,
          shot=replace(WIDE, share=0.44, pan=0.7), seed=14),
    # a faulty lunge beside a spotter, another child behind
    Scene("OT-02_2026-03-09_1", OT2, TEAL, (LungeStyle(lead=RIGHT, shoulder=158, hip=162, back_knee=163, before=0.6, after=0.4, pace=0.9),),
          faces=-1, hall=RED_HALL, shot=replace(WIDE, off_square=-8),
          extras=(Extra(COACH, COACH_KIT, "spot", (-0.25, 0.75), 262), Extra(OT3, LEGGINGS, "stand", (1.5, 1.7), -70)), seed=15),
    # a backward roll over the knees, filmed upright
    Scene("OT-03_2026-03-09_1", OT3, LEGGINGS, (RollStyle(lead=RIGHT, clear=-0.25, before=0.6, after=0.4, pace=0.92),), faces=1, hall=RED_HALL,
          shot=replace(TALL, up=1.2), seed=16),
    # a piked shoulder stand with the arms on the floor, held upright but stored turned
    Scene("HE-03_2026-03-10_1", HE3, SHORTS, (ShoulderStandStyle(lead=RIGHT, hip=148, knee=168, trunk=164, arms="floor", before=0.5, after=0.3,
                                                                pace=0.82, hold=1.1),), faces=-1, hall=GREY_HALL, shot=TALL, turn=90, seed=17),
    # a cartwheel with the first leg bent sideways, in the picture's plane; right leads
    Scene("HE-03_2026-03-10_2", HE3, SHORTS, (CartwheelStyle(lead=RIGHT, bend_first=42, turnout=72, before=0.5, after=0.4, pace=1.05),), faces=-1,
          hall=GREY_HALL, shot=replace(WIDE, share=0.42, pan=0.7, off_square=5), seed=18),
    # a cartwheel with a knee bent towards the camera; frame times wander
    Scene("CU-01_2026-03-11_1", CU1, PURPLE, (CartwheelStyle(lead=LEFT, bend_second=46, turnout=6, apart=44, before=0.5, after=0.4, pace=0.95),),
          faces=1, hall=BLUE_HALL, shot=replace(WIDE, share=0.44, pan=0.7, up=1.3), variable=True, seed=19),
    # two lunges in one clip, the second with the hips piked
    Scene("CU-01_2026-03-11_2", CU1, PURPLE, (LungeStyle(lead=LEFT, before=0.5, after=0.35, pace=0.8, hold=0.9),
                                              LungeStyle(lead=LEFT, hip=152, back_knee=172, shoulder=168, before=0.35, after=0.3, pace=0.8, hold=0.9)),
          faces=-1, hall=BLUE_HALL, shot=replace(WIDE, share=0.55), seed=20),
    # a shoulder stand a little short of flat; the name of the file does not tell who and when
    Scene("IMG_2291", OT1, replace(PINK, kind="leggings", bottom=(0.15, 0.16, 0.30)),
          (ShoulderStandStyle(lead=LEFT, hip=164, trunk=168, before=0.5, after=0.3, pace=0.82, hold=1.0),), faces=-1, hall=RED_HALL,
          shot=replace(WIDE, share=0.46, off_square=10), extras=(Extra(HE3, SHORTS, "hips", (-1.3, 1.8), -100),), seed=21),
    # a backward roll with the knees a little off the floor; a child walks past behind
    Scene("OT-03_2026-03-16_1", OT3, replace(LEGGINGS, kind="leotard", top=(0.10, 0.42, 0.40)), (RollStyle(lead=RIGHT, clear=0.3, before=0.6, after=0.4,
          pace=0.9),), faces=-1, hall=GREY_HALL, shot=replace(WIDE, off_square=-14, share=0.45),
          extras=(Extra(HE1, NAVY, "walk", (-2.2, 1.9), 0), Extra(CU1, PURPLE, "kneel", (1.7, 1.5), 180)), seed=22),
    # a lunge with the trunk too upright: arched over the back hip
    Scene("HE-01_2026-03-17_1", HE1, replace(NAVY, pattern=0.0, top=(0.45, 0.12, 0.14)), (LungeStyle(lead=LEFT, hip=197, back_knee=170, shoulder=172,
          before=0.6, after=0.4, pace=0.9),), faces=1, hall=GREEN_HALL, shot=replace(WIDE, off_square=12, up=1.3), seed=23),
    # a whole routine of one whose skills are good alone: the cartwheel's first leg bends, the shoulder stand is piked
    Scene("HE-01_2026-03-17_2", HE1, replace(NAVY, pattern=0.0, top=(0.45, 0.12, 0.14)), (
        LungeStyle(lead=LEFT, hip=184, back_knee=172, shoulder=170, lift_s=0.4, lift_hitches=0, before=0.5, hold=0.7, pace=0.72, go_on=True),
        CartwheelStyle(lead=LEFT, bend_first=34, turnout=65, look=0.6, goes_on=True, turn=90, after=0.1, pace=0.72),
        RollStyle(lead=LEFT, clear=0.6, sway=0.012, before=0.2, after=0.4, pace=0.72),
        ShoulderStandStyle(lead=LEFT, hip=156, knee=172, hands=1, pose=True, lift_s=0.4, before=0.2, after=0.1, hold=0.8, pace=0.72)),
          faces=1, hall=GREEN_HALL, shot=Shot(960, 540, share=0.5, pan=0.9, walk=0.85, shake=0.6), phone=Phone(noise=1.2), stays=True, blend=0.4,
          crf=30, seed=24),
    # a whole routine with a loaded lunge, knees on the floor in the roll, a quarter turn at the end
    Scene("OT-02_2026-03-16_1", OT2, TEAL, (
        LungeStyle(lead=RIGHT, hip=172, back_knee=171, shoulder=169, lift_s=0.8, lift_hitches=2, before=0.3, hold=0.7, pace=0.68, go_on=True,
                   then=LoadedLungeStyle(lead=RIGHT, back_knee=132, lean=16, hold=0.6)),
        CartwheelStyle(lead=RIGHT, bend_second=12, land_wide=0.7, goes_on=True, turn=90, after=0.05, pace=0.62),
        RollStyle(lead=RIGHT, clear=-0.25, head_turn=40, sway=0.025, before=0.15, after=0.4, pace=0.72),
        ShoulderStandStyle(lead=RIGHT, hip=168, legs=5, pose=True, turn=90, lift_s=0.35, before=0.15, after=-0.45, hold=0.5, pace=0.62)),
          faces=-1, hall=BLUE_HALL, shot=Shot(960, 540, share=0.5, pan=0.9, walk=0.85, shake=0.6, off_square=5), phone=Phone(noise=1.2), stays=True,
          blend=0.4, crf=32, seed=25),
)  # fmt: skip

SUFFIX = {"IMG_2291": ".mov"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", help="stems of the clips to draw; the others stay as they are")
    parser.add_argument("--truth", action="store_true", help="write only the truth anew, not the clips")
    told = parser.parse_args()
    for scene in SCENES:
        if told.only and scene.name not in told.only:
            continue
        clip = HERE / "clips" / (scene.name + SUFFIX.get(scene.name, ".mp4"))
        rows = produce(scene, clip, HERE / "truth" / f"{scene.name}.csv", draw=not told.truth)
        store(clip.name, rows)
        print(
            f"{clip.name}: {clip.stat().st_size / 1000:.0f} kB, " + ", ".join(f"{r['detail']} {r['side']} {r['value']}" for r in rows),
            flush=True,
        )


def store(clip: str, new: list[dict[str, str]]) -> None:
    """Put one clip's rows into truth.csv in place of those it had."""
    table = HERE / "truth.csv"
    with contextlib.suppress(FileNotFoundError), table.open(newline="") as f:
        new = [r for r in csv.DictReader(f) if r["clip"] != clip] + new
    new.sort(key=lambda r: r["clip"])
    with table.open("w", newline="") as f:
        out = csv.DictWriter(f, TRUTH_COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(new)


if __name__ == "__main__":
    main()
