"""Commands of the tuning room, one a step: bodies, anchors, teach, draw, train, world, write-back, ruler, evaluate, package. `crops` shows what is drawn.

The networks that look at holds and cartwheels from near are made by near-holds and near."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from pipeline.errors import MatsideError

app = typer.Typer(add_completion=False, no_args_is_help=True, help=__doc__, rich_markup_mode=None)
BODIES = Annotated[Path, typer.Option(help="Bodies made by `bodies`.")]


@app.command()
def bodies(out: Path = Path("build/tuning/bodies.npz"), count: int = 42, seed: int = 5) -> None:
    """Make the bodies to draw (needs anny and torch).  Example: bodies --out build/tuning/bodies.npz"""
    from .bodies import make_bodies

    out.parent.mkdir(parents=True, exist_ok=True)
    make_bodies(out, count=count, seed=seed)
    print(f"{out}: {count} bodies")


@app.command()
def crops(out: Path, bodies: BODIES = Path("build/tuning/bodies.npz"), each: int = 8, seed: int = 1) -> None:
    """Draw a sheet of training crops with their labels, one row a kind, to look at.  Example: crops sheet.jpg"""
    from .sheet import draw_sheet

    draw_sheet(out, bodies, each=each, seed=seed)
    print(f"{out}: {each} crops of each kind")


@app.command()
def anchors(
    folder: Path,
    model: Annotated[Path, typer.Option(help="The teacher's .tflite file; it must see a person too.")],
    out: Path = Path("build/tuning/anchors.npz"),
    judged: Annotated[Path | None, typer.Option(help="COCO annotations; pictures with keypoints there are left out, for judging.")] = None,
) -> None:
    """Cut people out of openly licensed pictures listed in FOLDER/credits.csv.  Example: anchors pictures --model heavy.tflite"""
    from .anchors import judged_pictures, make_anchors

    out.parent.mkdir(parents=True, exist_ok=True)
    made = make_anchors(folder, out, model=model, leave_out=judged_pictures(judged) if judged else set())
    print(f"{out}: {len(made)} people from {len(made.credits)} pictures")


@app.command()
def teach(
    teacher: Annotated[list[Path], typer.Option(help="Heavy model of the family, marking points as the family does.")] = [],  # noqa: B006
    tuned_teacher: Annotated[list[Path], typer.Option(help="A tuned model, marking joint centres.")] = [],  # noqa: B006
    anchors: Path = Path("build/tuning/anchors.npz"),
    out: Path = Path("build/tuning/taught.npz"),
    views: int = 12,
    device: str = "cpu",
) -> None:
    """Ask heavier models about the real crops, many views each.  Example: teach --teacher heavy.tflite"""
    from .anchors import Anchors
    from .teach import teach as run

    if not teacher and not tuned_teacher:
        raise MatsideError("teach: name a --teacher or a --tuned-teacher.")
    asked = [(t, False) for t in teacher] + [(t, True) for t in tuned_teacher]
    known = run(Anchors.load(anchors), asked, views=views, device=device)
    known.save(out)
    print(f"{out}: {len(known.xy)} people, median spread {float(np.median(known.spread)):.1f} pixels")


@app.command()
def train(
    base: Annotated[Path, typer.Option(help="Model file to tune, e.g. the wheel's pose_landmark_full.tflite.")],
    out: Path = Path("build/tuning/run"),
    bodies: BODIES = Path("build/tuning/bodies.npz"),
    pool: Annotated[Path, typer.Option(help="Folder for drawn crops, 196 kB a slot.")] = Path("build/tuning/pool"),
    anchors: Annotated[Path | None, typer.Option(help="Real crops made by `anchors`.")] = None,
    taught: Annotated[Path | None, typer.Option(help="Teachers' answers made by `teach`.")] = None,
    staged: Annotated[Path | None, typer.Option(help="Folder made by `python -m pipeline.bench staged-crops`.")] = None,
    staged_share: Annotated[float, typer.Option(help="Of a step's drawn crops.")] = 0.3,
    start: Annotated[Path | None, typer.Option(help="tuned.tflite of a run to go on from; give another --seed.")] = None,
    minutes: float = 9.0,
    steps: Annotated[int, typer.Option(help="Stop after so many steps instead of minutes.")] = 0,
    batch: int = 128,
    real_batch: int = 64,
    real_weight: float = 1.5,
    in_front: Annotated[float, typer.Option(help="Share of drawn crops with a real person at the edge.")] = 0.0,
    borrowed: Annotated[float, typer.Option(help="Share of drawn crops with a real picture's light and colours.")] = 0.0,
    restyled: Annotated[float, typer.Option(help="Share of drawn crops recoloured, blurred and roughened again.")] = 0.0,
    rate: float = 1.5e-3,
    pull: float = 0.1,
    workers: int = 14,
    slots: int = 120_000,
    first_crops: int = 6_000,
    check: int = 600,
    seed: int = 1,
    device: str = "",
    fill: Annotated[bool, typer.Option(help="Draw crops; off where another run fills the same pool.")] = True,
    mask: Annotated[bool, typer.Option(help="Train the silhouette too; off for a file that ships without it.")] = True,
    half: Annotated[bool, typer.Option(help="Half-precision arithmetic, on a graphics card.")] = False,
    world_weight: float = 8.0,
    shape_weight: Annotated[float, typer.Option(help="Of angles and bones in space.")] = 0.0,
) -> None:
    """Tune a landmark model.  Example: train --base full.tflite --anchors build/tuning/anchors.npz --taught build/tuning/taught.npz"""
    from .train import TrainSettings
    from .train import train as run

    settings = TrainSettings(
        base=base, bodies=bodies, out=out, pool=pool, anchors=anchors, taught=taught, staged=staged, staged_share=staged_share, start=start, minutes=minutes, steps=steps, batch=batch,
        real_batch=real_batch, real_weight=real_weight, in_front=in_front, borrowed=borrowed, restyled=restyled, rate=rate, pull=pull, workers=workers, slots=slots, first_crops=first_crops, check=check, seed=seed,
        device=device, fill=fill, mask=mask, half=half, world_weight=world_weight, shape_weight=shape_weight,
    )  # fmt: skip
    report = run(settings)
    print(f"{out}: {report['steps']} steps, {report['drawn_crops']} drawn and {report['real_crops']} real crops")


@app.command()
def draw(
    pool: Annotated[Path, typer.Option(help="Folder for drawn crops.")] = Path("build/tuning/pool"),
    bodies: BODIES = Path("build/tuning/bodies.npz"),
    minutes: float = 5.0,
    workers: int = 14,
    slots: int = 120_000,
    check: int = 600,
    seed: int = 1,
) -> None:
    """Draw crops into a pool that runs with --no-fill and `world` use.  Example: draw --minutes 5"""
    import time

    from .pool import Pool

    ends = time.monotonic() + 60 * minutes
    with Pool(pool, bodies, slots=slots, workers=workers, check=check, seed=seed) as filled:
        filled.wait_for(1)
        while time.monotonic() < ends:
            time.sleep(0.5)
    print(f"{pool}: {filled.drawn().sum()} crops")


@app.command()
def world(
    model: Path,
    out: Annotated[Path, typer.Argument(help="The same file with another world layer, or .npz for the layer alone.")],
    layer: Annotated[Path | None, typer.Option(help="A layer fitted before (.npz), perhaps for a sister model; nothing is fitted.")] = None,
    pool: Path = Path("build/tuning/pool"),
    bodies: BODIES = Path("build/tuning/bodies.npz"),
    crops: int = 48_000,
    steps: int = 3000,
    workers: int = 14,
    slots: int = 120_000,
    check: int = 600,
    seed: int = 1,
    device: str = "cpu",
) -> None:
    """Fit the world branch's last layer alone on a pool's drawn crops; points, heatmaps and presence stay to the bit.  Example: world full.tflite out.tflite"""
    from .pool import Pool
    from .world import fit_world, with_layer

    if layer is not None:
        out.write_bytes(with_layer(model, dict(np.load(layer))))
        return
    drawn = Pool(pool, bodies, slots=slots, workers=workers, check=check, seed=seed, fill=False)
    made, figures = fit_world(model, drawn, crops=crops, steps=steps, seed=seed, device=device)
    if out.suffix == ".npz":
        np.savez(out, **made)
    else:
        out.write_bytes(with_layer(model, made))
    for word, row in figures.items():
        print(f"{word}: {row}")


@app.command("near-holds")
def near_holds(
    out: Annotated[Path, typer.Option(help="Folder, 602 kB a crop.")] = Path("build/tuning/near_holds"),
    bodies: BODIES = Path("build/tuning/bodies.npz"),
    shown: Annotated[str, typer.Option(help="holds, or cartwheels.")] = "holds",
    crops: Annotated[int, typer.Option(help="Those of bodies to check on included.")] = 15_400,
    workers: int = 14,
    minutes: Annotated[float, typer.Option(help="Stop then, whatever is drawn.")] = 60.0,
    seed: int = 5,
) -> None:
    """Draw lunges and shoulder stands, or cartwheels, for `near`, or go on drawing; `near` may read meanwhile.  Example: near-holds --workers 22"""
    from .near_artist import KINDS
    from .near_holds import fill_near_holds

    if shown not in KINDS:
        raise MatsideError(f"--shown {shown}: expected one of {', '.join(KINDS)}.")
    print(f"{out}: {fill_near_holds(out, bodies, crops=crops, workers=workers, minutes=minutes, shown=shown, seed=seed)} crops")


@app.command()
def near(
    base: Annotated[Path, typer.Option(help="Model file to tune: a tuned one that marks joint centres, e.g. matside_full.tflite.")],
    staged: Annotated[Path, typer.Option(help="Folder made by `python -m pipeline.bench staged-holds`.")],
    drawn: Annotated[Path, typer.Option(help="Folder made by `near-holds`.")] = Path("build/tuning/near_holds"),
    out: Path = Path("build/tuning/near"),
    anchors: Annotated[Path | None, typer.Option(help="Real crops made by `anchors`.")] = None,
    taught: Annotated[Path | None, typer.Option(help="Teachers' answers made by `teach`.")] = None,
    wide: Annotated[float, typer.Option(help="Trunks a side of what the network looks at.")] = 4.0,
    staged_share: Annotated[float, typer.Option(min=0, max=1, help="Of a step's drawn crops.")] = 0.6,
    minutes: Annotated[float, typer.Option(help="Until the figures at the end, waiting for crops included.")] = 17.0,
    steps: Annotated[int, typer.Option(help="Stop after so many steps instead of minutes.")] = 0,
    batch: int = 320,
    real_batch: int = 64,
    rate: float = 1.5e-3,
    pull: Annotated[float, typer.Option(help="Toward the base's weights, per unit of rate.")] = 0.02,
    first_crops: Annotated[int, typer.Option(help="Of each renderer, before training starts.")] = 800,
    check: Annotated[int, typer.Option(help="Crops of each renderer for the figures.")] = 600,
    seed: int = 3,
    device: str = "",
    half: Annotated[bool, typer.Option(help="Half-precision arithmetic, on a graphics card.")] = True,
) -> None:
    """Tune a model to look at holds or cartwheels from near.  Example: near --base matside_full.tflite --staged holds --anchors build/tuning/anchors.npz"""
    from .near import NearSettings, train_near

    settings = NearSettings(
        base=base, staged=staged, drawn=drawn, out=out, anchors=anchors, taught=taught, wide=wide, staged_share=staged_share, minutes=minutes,
        steps=steps, batch=batch, real_batch=real_batch, rate=rate, pull=pull, first_crops=first_crops, check=check, seed=seed, device=device, half=half,
    )  # fmt: skip
    report = train_near(settings)
    shown = ", ".join(f"{n['to train on']} {name}" for name, n in report["crops"].items())
    print(f"{out / 'near.tflite'}: {report['steps']} steps, {shown} and {report['real_crops']} real crops")


@app.command("write-back")
def write_back(
    base: Annotated[Path, typer.Option(help="The model file that was tuned.")],
    tuned: Annotated[Path, typer.Option(help="tuned.tflite of a run.")],
    out: Path,
    share: Annotated[float, typer.Option(min=0, max=1, help="Of the tuned weights; the rest is the original's.")] = 0.55,
    presence: Annotated[float, typer.Option(help="Added to the logit of presence.")] = 0.0,
) -> None:
    """Mix tuned weights with the original's into a file of the same size.  Example: write-back --base full.tflite --tuned run/tuned.tflite out.tflite"""
    from .package import write_back as run

    run(base, tuned, share, out, presence=presence)
    print(f"{out}: {share:.2f} tuned")


@app.command()
def ruler(
    out: Annotated[Path, typer.Argument(help="File to write (.npz).")],
    clips: Annotated[
        Path | None, typer.Option(help="Folder with clips/, truth/ and truth.csv, as the benchmark and sample_data have them.")
    ] = None,
    pictures: Annotated[Path | None, typer.Option(help="Folder of pictures with coco_keypoints.json.")] = None,
    nobody: Annotated[list[Path], typer.Option(help="Pictures without people.")] = [],  # noqa: B006
) -> None:
    """Cut the crops that models are judged on; give one of the options.  Example: ruler report.npz --clips bench/report"""
    from .rulers import clip_ruler, nobody_ruler, picture_ruler

    if sum(map(bool, (clips, pictures, nobody))) != 1:
        raise MatsideError("ruler: give exactly one of --clips, --pictures, --nobody.")
    if clips:
        made = clip_ruler(clips / "clips", clips / "truth", clips / "truth.csv")
    else:
        made = picture_ruler(pictures) if pictures else nobody_ruler(nobody)
    made.save(out)
    print(f"{out}: {len(made.crops)} crops")


@app.command()
def evaluate(
    models: Annotated[list[str], typer.Argument(help="name=file.tflite, the original first.")],
    ruler: Annotated[list[Path], typer.Option(help="Files made by `ruler`.")],
) -> None:
    """Print one table, a column a model, on the same crops.  Example: evaluate full=full.tflite tuned=tuned.tflite --ruler report.npz"""
    from .evaluate import as_text, table
    from .rulers import Ruler

    named = dict(m.split("=", 1) if "=" in m else (Path(m).stem, m) for m in models)
    print(as_text(table({name: Path(file) for name, file in named.items()}, [Ruler.load(r) for r in ruler])))


@app.command()
def package(
    model: Path,
    second: Annotated[bool, typer.Option(help="It is the model of the second look.")] = False,
    near: Annotated[bool, typer.Option(help="It is the model of the near look at holds.")] = False,
    cartwheels: Annotated[bool, typer.Option(help="It is the model of the near look at cartwheels.")] = False,
) -> None:
    """Check a model file, ship it and write its hash into its card.  Example: package build/tuning/mix_55.tflite"""
    from .package import CARTWHEELS, FULL, NEAR, SECOND
    from .package import package as run

    name = CARTWHEELS if cartwheels else NEAR if near else SECOND if second else FULL
    print(f"{name}: sha256 {run(model, name=name)}")


def main() -> None:
    try:
        app()
    except MatsideError as error:
        print(error, file=sys.stderr)
        raise SystemExit(1) from None


if __name__ == "__main__":
    main()
