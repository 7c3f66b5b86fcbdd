"""Commands that measure photos: measure, card, demo."""

from __future__ import annotations

import json
import os
import shutil
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import click

from ..errors import BlockcheckError
from ..measuring.measure import measure_photo
from ..measuring.results import Measurement, PhotoResult
from ..settings import Settings
from ..uncertainty import Estimate
from ..units import format_exact, format_length, format_uncertainty, parse_length
from ..vision.photo import SUFFIXES, read_photo

CAUTION = (
    "Measure with the ruler before the first cut. Rotary cutters are sharp: close the blade after "
    "every cut and follow its maker's instructions."
)
TURNED = (
    "Is this block sideways? Its width and height fit the plan the other way around. Turn the "
    "photo, or take another with the block the right way up."
)
SIDES = ("top", "right", "bottom", "left")


def lens_file() -> Path:
    """Where lens profiles are kept unless --profiles says otherwise."""
    return Path(click.get_app_dir("blockcheck")) / "lenses.json"


PROFILES = click.option(
    "--profiles",
    type=click.Path(path_type=Path, dir_okay=False),
    default=lambda: lens_file() if lens_file().exists() else None,
    help="File of lens profiles (made by: blockcheck lens), where it is not in its usual place.",
)


@click.command()
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--card-side", help="The printed card's board as you measured it, like 3.98in.")
@click.option("--sheet-side", help="The printed sheet's long side as you measured it, like 8.97in.")
@click.option("--square", help="Side of a plain square in the photo.")
@click.option("--grid", help="Spacing of the mat's lines (1in or 1cm), where there is no card.")
@click.option("--planned", help="Planned unfinished size, width x height, like 6x9.")
@click.option(
    "--tolerance",
    default="1/8in",
    show_default=True,
    help="How far off the planned size is still good enough.",
)
@click.option("--cloth-height", help="Height of the cloth's face above the mat (0.5mm).")
@click.option(
    "--focal", type=float, help="35 mm equivalent focal length, for photos that do not say."
)
@PROFILES
@click.option("--corners", help="A block's corners by hand, in photo pixels: x,y x,y x,y x,y.")
@click.option("--unit", type=click.Choice(["in", "cm"]), default="in", show_default=True)
@click.option("--fraction", type=click.Choice(["8", "16", "32"]), default="16", show_default=True)
@click.option("--budget", is_flag=True, help="Say what the uncertainty comes from.")
@click.option(
    "--picture", type=click.Path(path_type=Path), help="Write the annotated picture (or folder)."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
@click.option(
    "--jobs", type=click.IntRange(1), default=1, show_default=True, help="Photos at once."
)
def measure(
    photos: tuple[Path, ...],
    tolerance: str,
    corners: str | None,
    unit: str,
    fraction: str,
    budget: bool,
    picture: Path | None,
    as_json: bool,
    jobs: int,
    **settings: Any,
) -> None:
    """Measure the blocks in PHOTOS (files or folders)."""
    try:
        settings["unit"] = unit
        given = Settings.of(**settings)
        allowed = parse_length(tolerance, unit)
        by_hand = _corners(corners)
    except BlockcheckError as e:
        raise click.UsageError(str(e)) from e
    paths = _files(photos)
    several = len(paths) > 1
    if by_hand and several:
        raise click.UsageError("--corners goes with one photo at a time.")
    if picture:
        _picture_target(picture, paths)
    results = []
    work = partial(_measure_one, corners=by_hand, settings=settings)
    with click.progressbar(
        length=len(paths), file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        for path, result in zip(paths, _run(work, paths, jobs), strict=True):
            results.append(result)
            bar.update(1)
            if picture:
                _write_picture(
                    path,
                    result,
                    picture / f"{path.stem}.png" if several else picture,
                    unit,
                    int(fraction),
                )
    if as_json:
        click.echo(json.dumps([r.to_dict() for r in results], ensure_ascii=False, indent=1))
    else:
        for result in results:
            click.echo(_words(result, given, allowed, unit, int(fraction), budget))
        if any(r.ok for r in results):
            click.echo(CAUTION)
    sys.exit(0 if all(r.ok for r in results) else 1)


@click.command()
@click.argument("output", type=click.Path(path_type=Path, dir_okay=False), default=Path("card.pdf"))
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option(
    "--letters", default="A", show_default=True, help="Which cards, one a page: A, AB, ABCD."
)
@click.option("--sheet", is_flag=True, help="The larger reference sheet instead.")
def card(output: Path, paper: str, letters: str, sheet: bool) -> None:
    """Write the reference card as a true-scale PDF to OUTPUT."""
    from ..report.card_sheet import write_card, write_sheet

    need_suffix(output, ".pdf")
    letters = letters.upper()
    if not letters or set(letters) - set("ABCD"):
        raise click.UsageError(f'There are cards A, B, C and D, not "{letters}".')
    try:
        if sheet:
            write_sheet(output, paper)
        else:
            write_card(output, letters, paper)
    except OSError as e:
        raise click.ClickException(f"{output} cannot be written ({e.strerror}).") from e
    option = "--sheet-side" if sheet else "--card-side"
    click.echo(
        f"Wrote {output}. Print it at 100 % (actual size), measure it with your ruler, and give its true "
        f"size with {option}."
    )


@click.command()
@click.argument(
    "folder", type=click.Path(path_type=Path, file_okay=False), default=Path("sailboats")
)
def demo(folder: Path) -> None:
    """Put six photos of sailboat blocks into FOLDER and measure them."""
    pictures = folder / "measured"  # apart, so that they are not taken for photos
    try:
        pictures.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise click.ClickException(f"{folder} cannot be written ({e.strerror}).") from e
    source = Path(__file__).parent.parent / "demo_photos"
    names = sorted(p.name for p in source.glob("*.jpg"))
    for name in names:
        shutil.copyfile(source / name, folder / name)
    click.echo(
        f"Six sailboat blocks, planned at 6 × 9 in unfinished, are in {folder}. Here is how they measure:\n"
    )
    given = Settings.of(card_side="4in", planned="6x9")
    for name in names:
        result = measure_photo(folder / name, card_side="4in", planned="6x9")
        click.echo(_words(result, given, parse_length("1/8in"), "in", 16, False))
        _write_picture(folder / name, result, pictures / f"{Path(name).stem}.png", "in", 16)
    click.echo(f"The annotated pictures are in {pictures}. {CAUTION}")


def _measure_one(
    path: Path, corners: list[tuple[float, float]] | None, settings: dict[str, Any]
) -> PhotoResult:
    return measure_photo(path, corners=corners, **settings)


def _run(work: Any, paths: list[Path], jobs: int) -> Any:
    if jobs == 1 or len(paths) == 1:
        yield from map(work, paths)
        return
    with ProcessPoolExecutor(min(jobs, os.cpu_count() or 1)) as pool:
        yield from pool.map(work, paths)


def _files(photos: tuple[Path, ...]) -> list[Path]:
    found: list[Path] = []
    for p in photos:
        inside = [p]
        if p.is_dir():
            inside = sorted(q for q in p.iterdir() if q.suffix.lower() in SUFFIXES)
        if not inside:
            raise click.UsageError(f"There is no photo in the folder {p}.")
        found += inside
    return found


def need_suffix(path: Path, *suffixes: str) -> None:
    """Refuse a name that could be a photo's or a project's, which would be written over."""
    if path.suffix.lower() not in suffixes:
        raise click.UsageError(f"{path.name} must end in {' or '.join(suffixes)}.")


def _picture_target(picture: Path, paths: list[Path]) -> None:
    """Make the folder for several pictures; one picture must not lie over its photo."""
    if len(paths) == 1:
        need_suffix(picture, ".png", ".jpg", ".jpeg")
        targets = [picture]
    else:
        try:
            picture.mkdir(parents=True, exist_ok=True)
        except OSError as e:
            raise click.ClickException(f"{picture} cannot be made a folder ({e.strerror}).") from e
        targets = [picture / f"{p.stem}.png" for p in paths]
    for target in targets:
        if target.resolve() in {p.resolve() for p in paths}:
            raise click.UsageError(f"{target} is a photo. Give the picture another place.")


def _corners(text: str | None) -> list[tuple[float, float]] | None:
    if text is None:
        return None
    try:
        pairs = [tuple(float(v) for v in pair.split(",")) for pair in text.split()]
    except ValueError:
        pairs = []
    if len(pairs) != 4 or any(len(p) != 2 for p in pairs):
        raise click.UsageError(
            'Write four corners in photo pixels, like "100,80 900,90 890,700 95,690".'
        )
    return [(p[0], p[1]) for p in pairs]


def _write_picture(path: Path, result: PhotoResult, out: Path, unit: str, fraction: int) -> None:
    from ..report.picture import write_picture

    try:
        rgb = read_photo(path).rgb
        write_picture(
            out,
            rgb,
            result.blocks,
            result.plane,
            unit=unit,
            fraction=fraction,
            problems=result.problems,
            doubtful=result.doubtful,
        )
    except BlockcheckError:
        return  # a file that is no photo has no picture; the table says so
    except OSError as e:
        raise click.ClickException(f"{out} cannot be written ({e.strerror}).") from e


def _words(
    result: PhotoResult, given: Settings, tolerance: float, unit: str, fraction: int, budget: bool
) -> str:
    lines = [f"{result.path.name}"]
    for i, b in enumerate(result.blocks):
        lines += _block_words(b, i, len(result.blocks), given, tolerance, unit, fraction, budget)
    for p in result.problems:
        mark = "NOT MEASURED" if p.level == "error" else "Note"
        lines.append(f"  {mark}: {p.message} {p.hint}")
    return "\n".join(lines) + "\n"


def _block_words(
    b: Measurement,
    i: int,
    n: int,
    given: Settings,
    tolerance: float,
    unit: str,
    fraction: int,
    budget: bool,
) -> list[str]:
    def row(name: str, e: Estimate) -> str:
        return f"  {name:<15s}{format_length(e.value, unit=unit, fraction=fraction):>12s}   ± {format_uncertainty(e.u95, unit=unit)}"

    lines = [f"  block {i + 1} of {n}"] if n > 1 else []
    lines += [row("width", b.width_mm), row("height", b.height_mm)]
    lines += [row(f"{name} side", e) for name, e in zip(SIDES, b.sides_mm, strict=True)]
    square = b.out_of_square_mm
    angle = max((e.value - 90 for e in b.angles_deg), key=abs)
    lines.append(
        row("out of square", Estimate(abs(square.value), square.budget))
        + f"   (worst corner {f'{angle:+.1f}'.replace('-', '−')}°)"
    )
    lines.append(row("largest bow", max(b.bow_mm, key=lambda e: e.value)))
    if given.planned is not None:
        for name, e, p, says in zip(
            ("width", "height"),
            (b.width_mm, b.height_mm),
            given.planned,
            b.against(given.planned, tolerance),
            strict=True,
        ):
            over = format_length(e.value - p, unit=unit, fraction=fraction, sign=True)
            answer = {
                "yes": "yes",
                "no": "NO",
                "too close to call": "too close to call: measure with the ruler",
            }[says]
            lines.append(
                f"  {name} within {format_length(tolerance, unit=unit, fraction=fraction)} of "
                f"{format_length(p, unit=unit, fraction=fraction)}: {answer} ({over})"
            )
        if looks_turned(b.width_mm.value, b.height_mm.value, given.planned):
            lines.append(f"  {TURNED}")
    if budget:
        for name, e in (("width", b.width_mm), ("height", b.height_mm)):
            lines.append(f"  what the ± of the {name} comes from (1 sigma):")
            lines += [
                f"    {t.name:<14s}{format_exact(t.u, unit=unit, digits=4):>10s}" for t in e.budget
            ]
    return lines


def looks_turned(width_mm: float, height_mm: float, planned: tuple[float, float]) -> bool:
    """Whether a block fits its planned size far better lying on its side."""
    w, h = planned
    upright = abs(width_mm - w) + abs(height_mm - h)
    return abs(width_mm - h) + abs(height_mm - w) < upright / 4


COMMANDS = (measure, card, demo)
