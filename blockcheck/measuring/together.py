"""Several photos of one block: one size from all that agree; one that contradicts is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..errors import MeasureError, PhotosDisagreeError, Problem, ReadingsError, TooFewPhotosError
from ..profiles import find_profile
from ..settings import Settings
from ..uncertainty import Estimate
from ..units import MM_PER
from ..vision.cloth.likeness import looks_of
from ..vision.cloth.outline import Outline
from ..vision.finding import usual_lens
from ..vision.photo import Photo
from ..vision.plane.calibrate import LensView, any_focal, on_sensor
from ..vision.plane.joint import Shot
from ..vision.plane.lens import LensPrior
from .joining import Joined, View, join
from .measure import BLAS, OpenPhoto, of_one_block, open_photo
from .results import PhotoResult, Taken

_RARE = 0.001  # photos of one block are told to contradict each other once in a thousand sets


def measure_together(paths: Sequence[str | Path], **settings: object) -> PhotoResult:
    """Measure one block in several photos together.

    The block, the phone or both may be turned and moved between them. A photo that cannot be
    measured, or that contradicts all others, is left out and named.

    Parameters
    ----------
    paths : sequence of str or Path
        Two photos or more, each with this one block.
    **settings
        As of `Settings.of`.

    Returns
    -------
    PhotoResult
        With `together`: which photos it comes from. Width and height are as the first photo that
        was used shows the block. `problems` says why where there is no block.

    Raises
    ------
    LengthError
        If a setting cannot be read.
    ReadingsError
        If fewer than two photos are named, or one twice.
    """
    given = Settings.of(**settings)  # type: ignore[arg-type]
    if len(paths) < 2:
        raise ReadingsError(
            "Measuring together takes more than one photo.",
            "Name two or more photos of the same block.",
        )
    views, failed, seen = [], list[PhotoResult](), dict[str, str]()
    for path in paths:
        found = _view(path, given)
        result = found if isinstance(found, PhotoResult) else found.result
        if result.sha256 in seen:
            raise ReadingsError(
                f"{result.path.name} is the same photo as {seen[result.sha256]}.",
                "Take a new photo each time; the same one again adds nothing.",
            )
        if result.sha256 is not None:
            seen[result.sha256] = result.path.name
        if isinstance(found, PhotoResult):
            failed.append(found)
        else:
            views.append(found)
    with BLAS.limit(limits=1):
        return _together(views, failed, given)


def _together(views: list[View], failed: list[PhotoResult], given: Settings) -> PhotoResult:
    problems = [_left_out(r) for r in failed]
    unused = [Taken(r.path, r.sha256, False) for r in failed]
    try:
        if len(views) < 2:
            raise TooFewPhotosError(
                f"Of {len(views) + len(failed)} photos {len(views) or 'none'} can be used.",
                "Take them again; measured by itself, each says what is wrong with it.",
            )
        fit, odd = _agreeing(views, given)
    except MeasureError as e:
        first = views[0].result if views else failed[0]
        taken = (*(_taken(v, None, False) for v in views), *unused)
        said = (*problems, e.problem())
        return replace(first, blocks=(), problems=said, plane=None, together=taken)
    if odd is not None:
        problems.append(_contradicts(odd, fit))
    of_photos = {p.code: p for v in fit.views for p in v.result.problems}
    return replace(
        fit.views[0].result,
        blocks=(fit.measurement(),),
        problems=(*problems, *of_photos.values()),
        together=(*(_taken(v, fit, v in fit.views) for v in views), *unused),
    )


def _view(path: str | Path, given: Settings) -> View | PhotoResult:
    """Measure one photo by itself."""
    opened = open_photo(path, given)
    if isinstance(opened, PhotoResult):
        return opened
    result, outlines = opened.traced()
    result = of_one_block(result)
    if not result.ok:
        return result
    return _seen(opened, result, outlines[0], given)


def _seen(opened: OpenPhoto, result: PhotoResult, outline: Outline, given: Settings) -> View:
    """Take what is needed of a photo, its pixels as the sensor reads them."""
    photo = opened.photo
    sides = [replace(s, points_px=on_sensor(photo, s.points_px)) for s in outline.sides]
    view = LensView.of(photo, opened.plane)
    size = view.key[1:3]
    return View(
        result,
        Shot(view.plane, view.key, _lens(photo, result, given), size),
        Outline(on_sensor(photo, outline.corners_px), tuple(sides)),  # type: ignore[arg-type]
        looks_of(photo.rgb, outline.corners_px),
    )


def _lens(photo: Photo, result: PhotoResult, given: Settings) -> LensPrior:
    """What is known of a photo's lens beforehand, after what the photo itself has shown."""
    _, width, height, _ = photo.lens_key
    told = {p.code for p in result.problems}
    profile = find_profile(given.profiles, photo.lens_key)
    if profile is not None and "lens_does_not_fit" not in told:
        return LensPrior.of_profile(profile, (width, height), 0)
    usual = usual_lens(photo, given, (width, height))
    return any_focal(usual) if "focal_doubtful" in told else usual


def _agreeing(views: list[View], given: Settings) -> tuple[Joined, View | None]:
    """All photos joined, or all but the one that contradicts the others, and that one.

    Raises
    ------
    PhotosDisagreeError
        If leaving out one photo does not mend it, or leaving out either of two does.
    """
    fit = join(views, given.cloth_height)
    if fit.chance > _RARE:
        return fit, None
    without = [
        join([v for v in views if v is not odd], given.cloth_height)
        for odd in (views if len(views) > 2 else ())
    ]
    agreeing = [i for i, some in enumerate(without) if some.chance > _RARE]
    if len(agreeing) == 1:
        return without[agreeing[0]], views[agreeing[0]]
    said = ", ".join(f"{v.result.path.name} {_size(*fit.as_first(v))}" for v in views)
    raise PhotosDisagreeError(
        f"The photos contradict each other, and nothing tells which is wrong: {said}.",
        "Do they all show the same block, lying flat and not stretched in between? Take another photo or two.",
    )


def _contradicts(odd: View, fit: Joined) -> Problem:
    block = fit.measurement()
    return Problem(
        "photo_left_out",
        "warning",
        f"{odd.result.path.name} contradicts the others and was left out: it shows "
        f"{_size(*fit.as_first(odd))}, they show "
        f"{_size(block.width_mm, block.height_mm)}.",
        "Does it show the same block, lying flat and not stretched? Take it again.",
    )


def _size(width: Estimate, height: Estimate) -> str:
    inches, cm = (
        f"{width.value / MM_PER[unit]:.2f} × {height.value / MM_PER[unit]:.2f} {unit}"
        for unit in ("in", "cm")
    )
    return f"{inches} ({cm})"


def _left_out(result: PhotoResult) -> Problem:
    why = next(p for p in result.problems if p.level == "error")
    name = result.path.name
    message = why.message if name in why.message else f"{name}: {why.message}"
    return Problem("photo_left_out", "warning", f"Left out: {message}", why.hint)


def _taken(view: View, fit: Joined | None, used: bool) -> Taken:
    result = view.result
    w, h = fit.as_first(view) if fit else (view.block.width_mm, view.block.height_mm)
    return Taken(result.path, result.sha256, used, w, h)
