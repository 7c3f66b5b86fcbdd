"""Commands that check the measuring itself: verify, repeat, lens."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from ..measuring.checks import (
    Repeatability,
    Verification,
    profile_of_photos,
    repeat_photos,
    verify_photo,
)
from ..measuring.gauge import GOOD, POOR, OneWay, gauge_study, percent_of_tolerance, read_readings
from ..profiles import save_profile
from ..project import Project
from ..project.records import settings_in
from ..uncertainty import Estimate
from ..units import format_exact, format_uncertainty, parse_length
from .measuring import PROFILES, _files, lens_file
from .project_file import in_words

UNIT = click.option("--unit", type=click.Choice(["in", "cm"]), default="in", show_default=True)


def references(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options that say what lies in the photo."""
    options = [
        click.option("--card-side", help="The printed card's board as you measured it."),
        click.option("--sheet-side", help="The printed sheet's long side as you measured it."),
        click.option("--square", help="Side of a plain square in the photo."),
        click.option("--grid", help="Spacing of the mat's lines (1in or 1cm)."),
        click.option("--focal", type=float, help="35 mm equivalent focal length."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


@click.command()
@click.argument("photo", type=click.Path(path_type=Path))
@click.option("--known", required=True, help="The size you know, like 85.60x53.98mm.")
@click.option("--within", help="How far off it may be; known for a bank card, else 0.4mm.")
@click.option(
    "--height", default="0.76mm", show_default=True, help="Of its upper face above the mat."
)
@click.option("--project", type=click.Path(path_type=Path), help="Keep the result in this project.")
@references
@PROFILES
@UNIT
def verify(
    photo: Path,
    known: str,
    within: str | None,
    height: str,
    project: Path | None,
    unit: str,
    **settings: Any,
) -> None:
    """Measure a thing of known size in PHOTO, such as a bank card in the block's place."""
    settings["unit"] = unit
    with in_words():
        if project is None:
            found = verify_photo(photo, known, within=within, height=height, **settings)
        else:
            with Project.open(project) as quilt:
                said = {name: value for name, value in settings.items() if value is not None}
                given = {**settings_in(quilt.plan), **said}
                found = verify_photo(photo, known, within=within, height=height, **given)
                if found.e_n:
                    quilt.add_check(
                        [k.value for k in found.known],
                        found.measured,
                        "agrees" if found.agrees else "does not agree",
                        photo,
                        found.result.sha256,
                    )
    click.echo(_verify_words(found, unit))
    if project and found.e_n:
        click.echo(f"Kept in {project}.")
    sys.exit(0 if found.agrees else 1)


def _verify_words(found: Verification, unit: str) -> str:
    lines = [found.result.path.name]
    for p in found.result.problems:
        mark = "NOT MEASURED" if p.level == "error" else "Note"
        lines.append(f"  {mark}: {p.message} {p.hint}".rstrip())
    if not found.e_n:
        return "\n".join(lines)
    lines.append(f"  {'':8}{'known':>22}{'measured':>22}   off")
    for name, known, measured, e in zip(
        ("width", "height"), found.known, found.measured, found.e_n, strict=True
    ):
        off = format_exact(abs(measured.value - known.value), unit=unit)
        way = "larger" if measured.value > known.value else "smaller"
        lines.append(
            f"  {name:8}{_with_u(known, unit):>22}{_with_u(measured, unit):>22}   {off} {way}: "
            f"{'agrees' if abs(e) <= 1 else 'DOES NOT AGREE'} (E_n {e:+.2f})"
        )
    if found.agrees:
        length, words = (254.0, "10 in") if unit == "in" else (250.0, "25 cm")
        lines.append(
            f"They agree. On {words}, this check would have shown an error of about "
            f"{format_exact(length * found.least_seen, unit=unit)} or more."
        )
    else:
        lines.append(
            "They do NOT agree: do not cut by these photos. Measure the printed card with a ruler "
            "and give its size (--card-side), lay everything flat, check the thing's own size and "
            "height (--height), and take the photo again."
        )
    return "\n".join(lines)


@click.command()
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--tolerance", default="1/8in", show_default=True, help="How far off a block may be.")
@click.option("--cloth-height", help="Height of the cloth's face above the mat (0.5mm).")
@references
@PROFILES
@UNIT
def repeat(photos: tuple[Path, ...], tolerance: str, unit: str, **settings: Any) -> None:
    """Say how well PHOTOS of the same block agree with each other.

    Name several photos of one block, or a folder of photos for each block. A table of
    readings (a .csv with part,person,try,value) gives a whole gauge study.
    """
    with in_words():
        settings["unit"] = unit
        allowed = parse_length(tolerance, unit)
        if len(photos) == 1 and photos[0].suffix.lower() == ".csv":
            click.echo(_study_words(photos[0]))
            return
        folders = [p for p in photos if p.is_dir()]
        blocks = [_files((p,)) for p in folders]
        loose = [p for p in photos if not p.is_dir()]
        found = repeat_photos([*blocks, *([loose] if loose else [])], **settings)
        click.echo(_repeat_words(found, allowed, unit))
    sys.exit(1 if found.failed else 0)


def _repeat_words(found: Repeatability, allowed: float, unit: str) -> str:
    lines = []
    for result in found.failed:
        problem = result.problems[-1]
        lines.append(f"LEFT OUT {result.path.name}: {problem.message} {problem.hint}".rstrip())
    counts = [len(group) for group in found.widths]
    lines.append(
        f"{counts[0]} photos of one block"
        if len(counts) == 1
        else f"{sum(counts)} photos of {len(counts)} blocks"
    )
    for name, groups, study in (
        ("width", found.widths, found.width),
        ("height", found.heights, found.height),
    ):
        s = study.repeatability
        u95 = Estimate(0.0, (s,)).u95
        stated = max(e.u95 for group in groups for e in group)
        readings = ", ".join(format_exact(e.value, unit=unit) for g in groups for e in g)
        share = percent_of_tolerance(s.u, 2 * allowed)
        lines += [
            f"  {name}",
            f"    readings              {readings}",
            f"    repeatability s       {format_uncertainty(s.u, unit=unit)}"
            f"  (degrees of freedom: {study.df_within})",
            f"    one photo repeats to  ± {format_uncertainty(u95, unit=unit)} (95 %)"
            f"; blockcheck states ± {format_uncertainty(stated, unit=unit)} for everything",
            f"    share of the tolerance ± {format_exact(allowed, unit=unit)} (6 s): "
            f"{share:.0f} %, {_judged(share)}",
            *_between_words(study),
        ]
    lines.append(
        "Repeats show chance only. An error that all photos share, such as a card printed too "
        "small, shows in: blockcheck verify."
    )
    return "\n".join(lines)


def _between_words(study: OneWay) -> list[str]:
    if study.df_between == 0:
        return []
    s = study.repeatability.u
    total = (s**2 + study.between**2) ** 0.5
    share = 100 * s / total if total else 0.0
    return [f"    %GRR of the spread between your blocks: {share:.0f} %, {_judged(share)}"]


def _judged(per_cent: float) -> str:
    if per_cent < GOOD:
        return "good (under 10 %)"
    if per_cent <= POOR:
        return "will do where little hangs on it (10 to 30 %)"
    return "NOT good enough (over 30 %)"


def _study_words(path: Path) -> str:
    study = gauge_study(read_readings(path))
    rows = (
        ("repeatability EV", study.ev),
        ("from person to person AV", study.av),
        ("both GRR", study.grr),
        ("from part to part PV", study.pv),
        ("total TV", study.tv),
    )
    lines = [f"{path.name}: gauge study (standard deviations in the table's unit)"]
    lines += [f"  {name:26}{value:10.4f}" for name, value in rows]
    lines.append(f"  {'%GRR':26}{study.percent_grr:10.1f} %, {_judged(study.percent_grr)}")
    lines.append(f"  {'sizes it can tell (ndc)':26}{study.ndc:10.1f}")
    return "\n".join(lines)


@click.command()
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--profiles",
    type=click.Path(path_type=Path, dir_okay=False),
    default=lens_file,
    help="File that keeps the profile, where it is not the usual one.",
)
@references
def lens(photos: tuple[Path, ...], profiles: Path, **settings: Any) -> None:
    """Make the profile of your phone's lens from five or more PHOTOS of the reference sheet."""
    with in_words():
        profile, found, views, failed = profile_of_photos(_files(photos), **settings)
        save_profile(profiles, profile)
    for error in failed:
        click.echo(f"LEFT OUT: {error}")
    u_f = 200 * profile.covariance[0, 0] ** 0.5
    moved, u_moved = (100 * v for v in profile.corner_distortion())
    focal = f", {profile.focal_35mm:g} mm" if profile.focal_35mm else ""
    click.echo(
        f"{profile.camera}, {profile.width} × {profile.height}{focal}: {profile.photos} photos, "
        f"points off by {profile.rms_px:.2f} px\n"
        f"  focal length            {found.lens.f:.0f} px ± {u_f:.1f} %\n"
        f"  the photo's corners lie {abs(moved):.2f} % too far {'out' if moved > 0 else 'in'} "
        f"± {2 * u_moved:.2f} %"
    )
    usual = sorted(found.view_rms_px)[len(views) // 2]
    for view, rms in zip(views, found.view_rms_px, strict=True):
        if rms > max(3 * usual, 0.3):
            click.echo(f"  Note: {view.name} fits badly ({rms:.2f} px): was the sheet flat?")
    if u_f > 2:
        click.echo("  Note: lean the phone by about 20° to each side in more of the photos.")
    click.echo(f"Kept in {profiles}. Photos from this camera use it from now on.")


def _with_u(e: Estimate, unit: str) -> str:
    return f"{format_exact(e.value, unit=unit)} ± {format_uncertainty(e.u95, unit=unit)}"


COMMANDS = (verify, repeat, lens)
