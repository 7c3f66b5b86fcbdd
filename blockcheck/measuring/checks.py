"""Checks of the measuring itself: a known size, the same block again, one's own lens."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import LengthError, MeasureError, ProfileError, ReadingsError, TooFewPhotosError
from ..profiles import LensProfile
from ..settings import Length, Settings
from ..uncertainty import Estimate, Term
from ..units import parse_length, parse_size
from ..vision.finding import plane_of
from ..vision.photo import read_photo, told
from ..vision.plane.calibrate import Calibration, LensView, make_profile
from .gauge import OneWay, e_n, one_way
from .measure import measure_photo, of_one_block
from .results import PhotoResult

ID1_MM = (85.60, 53.98)  # ISO/IEC 7810, thickness 0.76 mm: bank cards
ID1_WITHIN_MM = (0.13, 0.06)  # an unused card is 85.47 to 85.72 x 53.92 to 54.03 (from memory)
RULER_MM = 0.4  # half of a ruler's 1/32 in, where nothing better is known
THICKNESS_MM = 0.76  # of an ID-1 card (ISO/IEC 7810)
_OBLONG = 1.05  # sides more unlike than this tell how a photo was turned


@dataclass(frozen=True)
class Verification:
    """A known size beside what a photo says of it.

    Attributes
    ----------
    result : PhotoResult
    measured, known : tuple of two Estimate
        Width and height as the photo shows them; empty where it could not be measured.
    e_n : tuple of float
        Difference over the expanded uncertainty of both (ISO/IEC 17043).
    height_mm : float
        How high its top was taken to lie above the mat.
    height_from : {"given", "bank card", "cloth"}
        Who says so.
    """

    result: PhotoResult
    measured: tuple[Estimate, ...] = ()
    known: tuple[Estimate, ...] = ()
    e_n: tuple[float, ...] = ()
    height_mm: float = THICKNESS_MM
    height_from: str = "given"

    @property
    def agrees(self) -> bool:
        """Whether it was measured and no side is off by more than the uncertainties allow."""
        return bool(self.e_n) and all(abs(e) <= 1 for e in self.e_n)

    @property
    def least_seen(self) -> float:
        """Smallest relative error of scale that this check could have shown."""
        pairs = zip(self.measured, self.known, strict=True)
        return min(math.hypot(m.u95, k.u95) / k.value for m, k in pairs)


@dataclass(frozen=True)
class Repeatability:
    """Readings of blocks that were each photographed several times.

    Attributes
    ----------
    widths, heights : tuple of tuples of Estimate
        One tuple for each block.
    failed : tuple of PhotoResult
        Photos without exactly one block.
    """

    widths: tuple[tuple[Estimate, ...], ...]
    heights: tuple[tuple[Estimate, ...], ...]
    failed: tuple[PhotoResult, ...]

    @property
    def width(self) -> OneWay:
        """Analysis of the widths."""
        return one_way([[e.value for e in group] for group in self.widths])

    @property
    def height(self) -> OneWay:
        """Analysis of the heights."""
        return one_way([[e.value for e in group] for group in self.heights])


def known_size(
    known: str | tuple[float, float], tolerance: Length | None = None
) -> tuple[Estimate, Estimate]:
    """Return a known width and height with what their limits leave open.

    Parameters
    ----------
    known : str or (float, float)
        Like ``"85.60x53.98mm"``.
    tolerance : str or float, optional
        How far each side may be off, every value as likely (JCGM 100, 4.3.7). Left out: the
        standard's limits for a bank card (ID-1), else half a thirty-second of an inch.

    Raises
    ------
    LengthError
        If a length cannot be read or is out of all proportion.
    """
    size = parse_size(known)
    if not 20 <= min(size) <= max(size) <= 1000:
        raise LengthError(
            f"The known size {known} is not between 20 × 20 mm and 1000 × 1000 mm.",
            "Name the unit, like 85.60x53.98mm.",
        )
    limits = (RULER_MM, RULER_MM)
    if tolerance is not None:
        limits = (parse_length(tolerance),) * 2
    elif _is_bank_card(size):
        limits = ID1_WITHIN_MM if size[0] > size[1] else ID1_WITHIN_MM[::-1]
    w, h = (
        Estimate(mm, (Term("known size", limit / math.sqrt(3)),))
        for mm, limit in zip(size, limits, strict=True)
    )
    return w, h


def _is_bank_card(size_mm: Sequence[float]) -> bool:
    return math.dist(sorted(size_mm), sorted(ID1_MM)) < 0.05


def verify_photo(
    path: str | Path,
    known: str | tuple[float, float],
    *,
    tolerance: Length | None = None,
    cloth_height: Length | None = None,
    usual_height: Length | None = None,
    **settings: object,
) -> Verification:
    """Measure a rectangle of known size that lies in the block's place.

    Parameters
    ----------
    path : str or Path
    known, tolerance
        As of `known_size`.
    cloth_height : str or float, optional
        Of its upper face above the mat. Left out: a bank card's thickness for what is of that
        size, else `usual_height`.
    usual_height : str or float, optional
        The cloth's, as of `Settings.of`.
    **settings
        As of `Settings.of`.
    """
    sides = known_size(known, tolerance)
    height_from = "given"
    if cloth_height is None and _is_bank_card([side.value for side in sides]):
        cloth_height, height_from = THICKNESS_MM, "bank card"
    elif cloth_height is None:
        cloth_height, height_from = usual_height, "cloth"
    given = {**settings, "cloth_height": cloth_height}
    height_mm = Settings.of(**given).cloth_height  # type: ignore[arg-type]
    result = of_one_block(measure_photo(path, **given))  # type: ignore[arg-type]
    if not result.ok:
        return Verification(result, height_mm=height_mm, height_from=height_from)
    measured = result.blocks[0].width_mm, result.blocks[0].height_mm
    if _is_turned(measured, sides):
        sides = sides[1], sides[0]
    return Verification(
        result,
        measured,
        sides,
        tuple(e_n(m, k) for m, k in zip(measured, sides, strict=True)),
        height_mm,
        height_from,
    )


def repeat_photos(blocks: Iterable[Sequence[str | Path]], **settings: object) -> Repeatability:
    """Measure blocks that were each photographed several times.

    A photo that was turned by 90° between the takes is turned back where the block is
    clearly longer than wide.

    Raises
    ------
    ReadingsError
        If no block was photographed twice, or one photo is there twice.
    TooFewPhotosError
        If too few of the photos could be measured.
    """
    widths, heights, failed = [], [], []
    seen: dict[str | None, str] = {}
    for paths in blocks:
        readings: list[tuple[Estimate, Estimate]] = []
        for path in paths:
            result = of_one_block(measure_photo(path, **settings))  # type: ignore[arg-type]
            if not result.ok:
                failed.append(result)
                continue
            if result.sha256 in seen:
                raise ReadingsError(
                    f"{result.path.name} is the same photo as {seen[result.sha256]}.",
                    "Measuring one photo twice shows nothing: take a new photo each time.",
                )
            seen[result.sha256] = result.path.name
            size = result.blocks[0].width_mm, result.blocks[0].height_mm
            turned = bool(readings) and _is_turned(size, readings[0])
            readings.append((size[1], size[0]) if turned else size)
        if readings:
            widths.append(tuple(w for w, _ in readings))
            heights.append(tuple(h for _, h in readings))
    found = Repeatability(tuple(widths), tuple(heights), tuple(failed))
    if failed and not any(len(group) > 1 for group in widths):
        first, *others = (r.problems[-1] for r in failed)
        error = TooFewPhotosError(f"Too few photos could be measured. {first.message}", first.hint)
        for problem in others:
            error.add_note(f"{problem.message} {problem.hint}")
        raise error
    _ = found.width  # raises where nothing was read twice
    return found


def profile_of_photos(
    paths: Iterable[str | Path], **settings: object
) -> tuple[LensProfile, Calibration, tuple[LensView, ...], tuple[MeasureError, ...]]:
    """Make the profile of the lens that took several photos of the sheet or other references.

    Returns
    -------
    LensProfile, Calibration
    tuple of LensView
        The photos that were used.
    tuple of MeasureError
        Why the others were not.

    Raises
    ------
    ProfileError
        If fewer than five photos can be used, or they are not all by one lens.
    """
    given = replace(Settings.of(**settings), profiles=())  # type: ignore[arg-type]
    views, failed = [], []
    for path in paths:
        try:
            photo = read_photo(path)
            with told(photo.path):
                views.append(LensView.of(photo, plane_of(photo, given)))
        except MeasureError as e:
            failed.append(e)
    try:
        profile, calibration = make_profile(views)
    except ProfileError as e:
        for error in failed:
            e.add_note(str(error))
        raise
    return profile, calibration, tuple(views), tuple(failed)


def _is_turned(size: tuple[Estimate, Estimate], against: tuple[Estimate, Estimate]) -> bool:
    ratio = size[0].value / size[1].value
    other = against[0].value / against[1].value
    return max(ratio, 1 / ratio) > _OBLONG and (ratio > 1) != (other > 1)
