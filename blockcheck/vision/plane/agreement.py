"""Whether a photo's references say the same of the scale, and which one leads where they do not.

All are fitted with their scales free first: what is held to its named size is not found wrong,
it bends the camera. Then each is judged by what the fit made of it. Lines seen over a
whole mat lead over printed things, which all come from one printer; without lines the larger
number of things that agree leads; where neither is there, nobody can tell, and the photo is
refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from ...errors import Problem, ReferencesDisagreeError
from .adjust import adjust, first_camera
from .lens import LensPrior
from .plane import Placed, Plane
from .reference import MatLines, Reference

LOOSE = 0.03  # 1 sigma of a scale in question: what printers and wrong settings do
_LOOSE_STRETCH, _LOOSE_SKEW = 0.01, 0.002
_TOLD = 0.0035  # so that 0.4 % is told, and no more than a ruler's reading is not
_SURE = 3.0  # standard uncertainties
_OVER = 1.5  # times as far as the thing itself reaches, for lines to lead
_AROUND, _AMONG = 1.7, 0.35  # times a thing's own size; share of the lines there that is seen
_ALIKE = 0.003  # across and along, to be told as one
_OPTION = {"card": "--card-side", "sheet": "--sheet-side", "square": "--square", "grid": "--grid"}
_HINT = "Measure each with a ruler, and give the sizes with --card-side, --sheet-side or --square."


def loosened(reference: Reference) -> Reference:
    """Return a reference whose size is in question and whose shape is nearly not."""
    return replace(
        reference, scale_sigma=LOOSE, stretch_sigma=_LOOSE_STRETCH, skew_sigma=_LOOSE_SKEW
    )


def agree_with_lines(
    free: Plane, mat: MatLines, references: Sequence[Reference], prior: LensPrior
) -> tuple[Plane, tuple[Problem, ...]]:
    """Judge references by the mat's lines, and adjust anew with those that agree held to size.

    Parameters
    ----------
    free : Plane
        Adjusted with `references` loosened, the mat's lines last.
    mat : MatLines
        The lines, and where they are seen.
    references : sequence of Reference
        As named, without the mat's lines.
    prior : LensPrior

    Raises
    ------
    ReferencesDisagreeError
        If the lines are seen in too small a part of the mat to lead, or not around what they
        contradict (it lies on the mat; checked cloth has lines of its own), or things of two
        kinds contradict them together.
    """
    *placed, lines = free.references
    off = [p for p in placed if _is_off(_scales(p), p.scale_u)]
    problems = []
    for p in off:
        if not (_reaches_over(lines, p) and _lies_among(mat, p)):
            raise ReferencesDisagreeError(
                f"{_name(p)} is {_by(_scales(p))} than the lines in view say, "
                "and they are too few, or not seen around it, to be sure that they are the mat's.",
                f"Show more of the mat's lines around it, and measure again what "
                f"{_OPTION[p.reference.kind]} says.",
            )
        problems.append(_told(p, _scales(p), "the mat's lines", "The mat's lines were used."))
    if _contradict_together(off):
        raise ReferencesDisagreeError(
            f"{' and '.join(_name(p) for p in off)} agree, and contradict the mat's lines: "
            f"they are {_by(_scales(off[0]))} than the lines say.",
            "Check with a ruler how far apart the mat's lines are, and what the options say.",
        )
    held = [
        loosened(named) if p in off else _widened(named, p)
        for p, named in zip(placed, references, strict=True)
    ]
    places = [p.affine for p in free.references]
    noise = [p.noise_px for p in free.references]  # learned already
    everything = [*held, lines.reference]
    return adjust(everything, prior, free.camera, places, 1, noise=noise), tuple(problems)


def _widened(named: Reference, p: Placed) -> Reference:
    """Return a reference less sure of its size the farther the mat's lines are from it."""
    return replace(named, scale_sigma=max(named.scale_sigma, abs(p.log_scale)))


def agree_among(plane: Plane, prior: LensPrior) -> tuple[Plane, tuple[Problem, ...]]:
    """Judge two or more references by each other.

    Raises
    ------
    ReferencesDisagreeError
        If they contradict each other and no larger number of them agrees.
    """
    named = [p.reference for p in plane.references]
    if len(named) < 2:
        return plane, ()
    free = adjust([named[0], *(loosened(r) for r in named[1:])], prior, plane.camera)
    scales = np.array([_scales(p) for p in free.references])
    scales[0] = 0.0
    u = np.array([0.0, *(p.scale_u for p in free.references[1:])])
    alike = np.array(
        [
            [not _is_off(a - b, float(np.hypot(ua, ub))) for b, ub in zip(scales, u, strict=True)]
            for a, ua in zip(scales, u, strict=True)
        ]
    )
    if alike.all():
        return plane, ()
    lead = alike[int(np.argmax(alike.sum(1)))]
    if lead.sum() * 2 <= len(named):
        worst = int(np.argmax(np.abs(scales).max(1)))
        raise ReferencesDisagreeError(
            f"{_name(free.references[worst])} is {_by(scales[worst])} than {named[0].called()} "
            "says, and the photo cannot tell which of them is right.",
            _HINT,
        )
    middle = np.median(scales[lead], axis=0)
    others = " and ".join(r.called() for r, good in zip(named, lead, strict=True) if good)
    problems = tuple(
        _told(p, scale - middle, others, "Its size was left out.")
        for p, scale, good in zip(free.references, scales, lead, strict=True)
        if not good
    )
    held = [r if good else loosened(r) for r, good in zip(named, lead, strict=True)]
    order = np.argsort(~lead, kind="stable")
    held = [held[i] for i in order]
    return adjust(held, prior, first_camera(prior, held[0])), problems


def _scales(p: Placed) -> np.ndarray:
    """(2,) how much larger than named it came out across and along, as logarithms."""
    return p.log_scale + p.stretch * np.array([1, -1])


def _is_off(scales: np.ndarray, u: float) -> bool:
    return bool(np.abs(scales).max() > max(_TOLD, _SURE * u))


def _reaches_over(lines: Placed, p: Placed) -> bool:
    """Whether the lines were followed over much more than the thing that they contradict."""
    own = p.reference.points_mm.std(0).max()
    return bool(lines.reference.points_mm.std(0).min() > _OVER * own)


def _lies_among(mat: MatLines, p: Placed) -> bool:
    """Whether the lines are seen around a thing that lies on the mat."""
    if p.outline_px is None:
        return False
    middle = mat.segments_px.mean(1)
    centre = p.outline_px.mean(0)
    wide = (centre + _AROUND * (p.outline_px - centre)).astype(np.float32)
    around = np.array([cv2.pointPolygonTest(wide, m, False) > 0 for m in middle.tolist()])
    return bool(around.sum() >= 8 and mat.seen[around].mean() > _AMONG)


def _contradict_together(off: Sequence[Placed]) -> bool:
    bought = [p for p in off if p.reference.kind == "square"]
    printed = [p for p in off if p.reference.kind != "square"]
    return any(np.abs(_scales(a) - _scales(b)).max() < _TOLD for a in bought for b in printed)


def _name(p: Placed) -> str:
    return p.reference.called(first=True)


def _by(scales: np.ndarray) -> str:
    across, along = 100 * np.expm1(scales)
    if abs(scales[0] - scales[1]) < _ALIKE:
        return _way((across + along) / 2)
    return f"{_way(across)} across and {_way(along)} along its columns"


def _way(per_cent: float) -> str:
    return f"{abs(per_cent):.1f} % {'larger' if per_cent > 0 else 'smaller'}"


def _told(p: Placed, scales: np.ndarray, others: str, outcome: str) -> Problem:
    """Say in words which reference is off, and by how much."""
    option = _OPTION[p.reference.kind]
    across, along = 100 * np.exp(scales)
    at = (
        f"{across:.1f} %"
        if abs(across - along) < 100 * _ALIKE
        else f"{across:.1f} by {along:.1f} %"
    )
    printed = f"it was printed at {at}, or " if p.reference.kind in ("card", "sheet") else ""
    return Problem(
        "references_disagree",
        "warning",
        f"{_name(p)} is {_by(scales)} than {others} say: {printed}{option} is not what the "
        f"ruler says. {outcome}",
        f"Measure it with your ruler and give its true size with {option}.",
    )
