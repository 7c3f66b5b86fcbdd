"""From a photo to its plane: find every reference, adjust them together, judge the result."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ..errors import (
    BlurredError,
    NoReferenceError,
    OverexposedError,
    Problem,
    ReferenceHiddenError,
    TiltedError,
)
from ..profiles import find_profile
from ..settings import Settings
from ..units import format_length
from .photo import Optics, Photo
from .plane.adjust import ROUGHLY, adjust, first_camera
from .plane.agreement import agree_among, agree_with_lines
from .plane.calibrate import lens_fits, other_focal, readjust
from .plane.focal import focal_of
from .plane.lens import Camera, LensPrior, pose_from_points
from .plane.plane import Placed, Plane
from .plane.reference import Reference
from .plane.stretch import stretched, with_stretch
from .references.card import find_boards, find_markers
from .references.mat_lines import find_lines, find_lines_alone
from .references.square import find_squares

_ANY_SPACING = 10.0  # mm; to see a mat whose spacing nobody named
_ABOUT = 0.07  # how far a square's side may be off for it to be the one that was named
STEEP_DEG, TOO_STEEP_DEG = 25.0, 40.0
_WHITE = 253
# RMS; twice what flat ones leave, edges cut by hand and printed lines more than a print's corners
_MISFIT_MM = {"card": 0.05, "sheet": 0.05, "square": 0.15, "grid": 0.12}
_CARD_HINT = (
    "Lay the printed card (blockcheck card) flat beside the block, all of it in the picture, "
    "or name what lies there with --square or --grid."
)
# long side by short side of what cameras write, and how far the rounding of rows moves it
_SHAPES, _ROUNDING = (1, 5 / 4, 4 / 3, 3 / 2, 16 / 9, 2, 18.5 / 9, 19.5 / 9, 20 / 9), 0.004
_RESHAPED = Problem(
    "reshaped",
    "warning",
    "The picture is not the shape a camera takes: it was cropped or stretched, and beside one small "
    "reference a stretch can pass for a tilt, which widens the uncertainty.",
    "Use the photo as the camera wrote it; a mat with its lines in view would show a stretch.",
)
_OTHER_FOCAL = Problem(
    "focal_doubtful",
    "warning",
    "The focal length noted in the picture does not fit what is seen, so the one that the reference "
    "shows was used instead.",
    "Use the photo as the camera wrote it, without zoom or editing, or give the lens's 35 mm focal "
    "length with --focal.",
)
_OTHER_LENS = Problem(
    "lens_does_not_fit",
    "warning",
    "The photo does not fit this camera's lens profile, so the profile was left out.",
    "Photograph without zoom, filters or panorama; if this happens again, make a new profile "
    "(blockcheck lens).",
)


def plane_of(photo: Photo, settings: Settings) -> Plane:
    """Find the plane of the mat in a photo.

    Raises
    ------
    NoReferenceError, ReferenceHiddenError, ReferencesDisagreeError, TiltedError, BlurredError,
    OverexposedError
    """
    usual = usual_lens(photo, settings, photo.size)
    profile = find_profile(settings.profiles, photo.lens_key)
    prior = LensPrior.of_profile(profile, photo.size, photo.quarter_turns) if profile else usual
    markers = find_markers(photo.gray)
    found = _found(photo, settings, prior, markers, None if profile else usual)
    if found is None:
        raise _why_nothing(photo, settings, len(markers[1]))
    plane, problems = found
    if profile and not lens_fits(plane, prior, photo.size):
        plane, problems, prior = readjust(plane, usual), (*problems, _OTHER_LENS), usual
    if _OTHER_FOCAL in problems:
        prior = replace(usual, f=plane.camera.f)
    _judge_tilt(plane)
    problems += warnings_of(plane, settings)
    stretch = _off_shape(photo)
    if stretch and "one_reference" in {p.code for p in problems}:
        plane, problems = with_stretch(plane, prior, photo.size, stretch), (*problems, _RESHAPED)
    elif stretch:  # lines far apart tell it from a tilt
        plane = readjust(plane, stretched(prior, stretch))
    return replace(plane, markers_px=markers[0].mean(1), problems=problems)


def usual_lens(photo: Photo, settings: Settings, size: tuple[int, int]) -> LensPrior:
    """What is known of a photo's lens without a profile, for its picture as it has this size."""
    optics = Optics(settings.focal) if settings.focal else photo.optics
    return LensPrior.of_photo(size, *focal_of(optics, size))


def _found(
    photo: Photo,
    settings: Settings,
    prior: LensPrior,
    markers: tuple[np.ndarray, np.ndarray],
    noted: LensPrior | None,
) -> tuple[Plane, tuple[Problem, ...]] | None:
    """All references in the photo adjusted together, the mat's lines last, and judged.

    Where a focal length is `noted`, the references may show that it is wrong. That comes first:
    a wrong one tilts the plane, and references of the right size contradict each other.
    """
    boards = find_boards(photo.gray, markers, settings.card_side, settings.sheet_side)
    side = settings.square
    planes = _with_boards(photo, boards, side, prior) if boards else _each(photo, side, prior)
    without_lines = []
    for plane in planes:
        references = [p.reference for p in plane.references]
        lines = find_lines(photo.gray, references, prior, plane, settings.grid)
        if lines is not None:
            free, mat = lines
            free, right, problems = _with_its_focal(free, prior, noted)
            agreed, told = agree_with_lines(free, mat, references, right)
            return replace(agreed, mat=mat), (*told, *problems)
        places = [p.affine for p in plane.references]
        without_lines.append(adjust(references, prior, plane.camera, places))
    if without_lines:  # a block may pass for a square, but a paper one is straighter
        straightest = min(without_lines, key=lambda plane: _misfit_mm(plane, plane.references[0]))
        straightest, right, problems = _with_its_focal(straightest, prior, noted)
        agreed, told = agree_among(straightest, right)
        return agreed, (*told, *problems)
    if settings.grid is not None:
        lines = find_lines_alone(photo, prior, settings.grid)
        if lines is not None:
            plane, _, problems = _with_its_focal(lines[0], prior, noted)
            return replace(plane, mat=lines[1]), problems
    return None


def _with_its_focal(
    plane: Plane, prior: LensPrior, noted: LensPrior | None
) -> tuple[Plane, LensPrior, tuple[Problem, ...]]:
    """The plane by the focal length that its references show, where the noted one is wrong."""
    shown = None if noted is None else other_focal(plane, noted)
    if shown is None:
        return plane, prior, ()
    plane, doubted, sure = shown
    return plane, doubted, (_OTHER_FOCAL,) if sure else ()


def _with_boards(
    photo: Photo, boards: list[Reference], side_mm: float | None, prior: LensPrior
) -> Iterator[Plane]:
    """The boards, and beside them the square that has about the side that was named."""
    plane = _roughly(boards, prior, first_camera(prior, boards[0]))
    if side_mm is not None:
        hidden = [p.outline_px for p in plane.references if p.outline_px is not None]
        for square, corners_px in find_squares(photo.rgb, side_mm, prior, hidden):
            corners = plane.mm_from_px(corners_px, square.height_mm)
            sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
            if np.abs(sides / side_mm - 1).max() < _ABOUT:
                plane = _roughly([*boards, square], prior, plane.camera)
                break
    yield plane


def _each(photo: Photo, side_mm: float | None, prior: LensPrior) -> Iterator[Plane]:
    """Each square by itself: the mat's lines tell which of them has the side that was named."""
    if side_mm is None:
        return
    for square, corners_px in find_squares(photo.rgb, side_mm, prior):
        corners_mm = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * side_mm
        camera = pose_from_points(prior, corners_mm, corners_px, square.height_mm)
        yield _roughly([square], prior, camera)


def _roughly(references: list[Reference], prior: LensPrior, camera: Camera) -> Plane:
    """Adjust well enough to find the mat's lines, with which all is adjusted anew."""
    return adjust(references, prior, camera, rounds=2, settled=ROUGHLY, covariance=False)


def _why_nothing(photo: Photo, settings: Settings, n_markers: int) -> Exception:
    name = photo.path.name
    white = np.mean(np.all(photo.rgb[::8, ::8] >= _WHITE, axis=2))
    if white > 0.5:
        return OverexposedError(
            f"{name} is overexposed: more than half of it is plain white.",
            "Take it again in softer light, or tap the block on the screen so that the phone exposes for it.",
        )
    if _sharpness(photo.gray) < 2.0:
        return BlurredError(
            f"{name} is blurred: nothing in it has a sharp edge.",
            "Hold the phone still, wipe its lens, and let it focus before you press.",
        )
    if settings.square is not None:
        return NoReferenceError(
            f"No plain square was found in {name}.",
            "Lay it flat on something of another colour, all of it in the picture.",
        )
    if settings.grid is not None:
        return NoReferenceError(
            f"The mat's lines could not be followed in {name}.",
            "Hold the phone level above the mat, with more of its lines in the picture, or use the card.",
        )
    if n_markers >= 2:  # one alone may be a pattern that happens to look like a marker
        return ReferenceHiddenError(
            f"Too little of the printed card is seen in {name}.",
            "Take everything off the card and keep all of it in the picture, without glare.",
        )
    lines = find_lines_alone(photo, usual_lens(photo, settings, photo.size), _ANY_SPACING)
    if lines is not None:
        columns, rows = np.ptp(lines[1].reference.points_mm / _ANY_SPACING, axis=0)
        return NoReferenceError(
            f"No reference card was found in {name}, but a mat with lines was: about "
            f"{columns:.0f} by {rows:.0f} squares of it.",
            "Say how far apart its lines are (--grid 1in or --grid 1cm), or lay the printed card "
            "(blockcheck card) beside the block.",
        )
    return NoReferenceError(f"No reference card was found in {name}.", _CARD_HINT)


def _sharpness(gray: np.ndarray) -> float:
    """Steepest common grey step, grey levels per pixel (99.9th percentile)."""
    part = gray[:: max(1, gray.shape[0] // 400)]
    return float(np.percentile(np.abs(part[:, 1:].astype(np.int16) - part[:, :-1]), 99.9))


def _judge_tilt(plane: Plane) -> None:
    if plane.camera.tilt_deg > TOO_STEEP_DEG:
        raise TiltedError(
            f"The camera was tilted by {plane.camera.tilt_deg:.0f}°.",
            "Hold the phone level above the block and take the photo again.",
        )


def _off_shape(photo: Photo) -> float:
    """How much longer the picture is than the nearest shape that a camera writes; 0 for none."""
    short, long = sorted(photo.size)
    if photo.optics.written and sorted(photo.optics.written) == [short, long]:
        return 0.0
    off = min((long / short / shape - 1 for shape in _SHAPES), key=abs)
    return off if abs(off) > _ROUNDING else 0.0


def _misfit_mm(plane: Plane, placed: Placed) -> float:
    middle = placed.affine @ [*placed.reference.points_mm.mean(0), 1]
    return placed.rms_px / plane.px_per_mm(middle)


def warnings_of(plane: Plane, settings: Settings) -> tuple[Problem, ...]:
    """What is doubtful about the references, in words."""
    found = []
    kinds = {p.reference.kind for p in plane.references}
    if plane.camera.tilt_deg > STEEP_DEG:
        found.append(
            Problem(
                "tilted",
                "warning",
                f"The camera was tilted by {plane.camera.tilt_deg:.0f}°, which widens the uncertainty.",
                "Hold the phone level above the block.",
            )
        )
    if ("card" in kinds and settings.card_side is None) or (
        "sheet" in kinds and settings.sheet_side is None
    ):
        option = "--card-side" if "card" in kinds else "--sheet-side"
        found.append(
            Problem(
                "print_not_measured",
                "warning",
                f"The printed {'card' if 'card' in kinds else 'sheet'} was not measured, so it was "
                "taken to be exactly the size it should be.",
                f"Measure it with your ruler and give its true size with {option}: printers often scale a page.",
            )
        )
    for kind, side, words in (
        ("grid", settings.grid, "No mat lines {} apart were found"),
        ("square", settings.square, "No plain square of {} was found"),
    ):
        if side is not None and kind not in kinds:
            named = f"{format_length(side)} ({format_length(side, unit='cm')})"
            found.append(
                Problem(
                    "reference_not_found",
                    "warning",
                    f"{words.format(named)}, so the photo was measured without it.",
                    "Check what was named, and that it is in the picture.",
                )
            )
    found += [
        Problem(
            "not_flat",
            "warning",
            f"{p.reference.called(first=True)} does not lie flat: it is bowed, or on something uneven.",
            "Lay it flat on a flat mat, tape its corners down, and take the photo again.",
        )
        for p in plane.references
        if _misfit_mm(plane, p) > _MISFIT_MM[p.reference.kind]
    ]
    if not (kinds & {"grid", "sheet"}) and len(plane.references) == 1:
        found.append(
            Problem(
                "one_reference",
                "warning",
                "Only one small reference was found, so lengths far from it are less sure.",
                "A second card at the block's other end, the reference sheet, or a mat with its lines in "
                "view makes them several times as sure.",
            )
        )
    return tuple(found)
