"""The sentences about measuring: what a photo gave, and what checks of the measuring say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import Problem, in_one_line
from ..measuring.checks import Repeatability, Verification
from ..measuring.gauge import GOOD, POOR, GaugeStudy, OneWay, percent_of_tolerance
from ..measuring.results import Measurement, PhotoResult, Taken
from ..profiles import LensProfile
from ..uncertainty import Estimate
from ..units import format_exact, format_length, format_uncertainty
from ..vision.plane.calibrate import Calibration, LensView
from .phrases import DOUBT, percent

SIDES = ("top", "right", "bottom", "left")
CORNERS = ("top left", "top right", "bottom right", "bottom left")
SIDEWAYS = (
    "Is this block sideways? Its width and height fit the plan the other way around. Turn the "
    "photo, or take another with the block the right way up."
)
BOW = "the most that the edge departs from its best straight line"
CHANCE_ONLY = (
    "Repeated photos show random error only. An error that they all share, such as a card printed too "
    "small, is found by: blockcheck verify."
)
REFERENCES = {
    "card": "the card",
    "sheet": "the sheet",
    "square": "the square",
    "grid": "the mat's lines",
}
ANSWERS = {"yes": "yes", "no": "NO"}
_BADLY = 3.0  # times the usual misfit of a view: worth a word


@dataclass(frozen=True)
class Style:
    """How a table of sizes is written.

    Attributes
    ----------
    unit, fraction
        As of `units.format_length`.
    planned : (float, float) or None
        Sizes are compared with it, within `tolerance`; in millimetres.
    tolerance : float
    budget : bool
        Whether to say what the uncertainty comes from.
    """

    unit: str = "in"
    fraction: int = 16
    planned: tuple[float, float] | None = None
    tolerance: float = 25.4 / 8
    budget: bool = False

    def length(self, mm: float, *, sign: bool = False) -> str:
        """Write a length."""
        return format_length(mm, unit=self.unit, fraction=self.fraction, sign=sign)


def refusal(result: PhotoResult, what: str = "NOT MEASURED") -> str:
    """Say why a photo gave no sizes."""
    said = next(p for p in result.problems if p.level == "error")
    name = in_one_line(result.path.name)
    which = what if name in said.message else f"{what} {name}"
    return f"{which}: {said.message} {said.hint}".rstrip()


def warnings(problems: Sequence[Problem]) -> list[str]:
    """What a person should know about sizes that stand."""
    return [f"Note: {p.message} {p.hint}".rstrip() for p in problems if p.level != "error"]


def photo_table(result: PhotoResult, style: Style) -> str:
    """Write what was measured in a photo as a table."""
    lines = [photos_named(result)]
    for i, block in enumerate(result.blocks, start=1):
        lines += [f"  block {i} of {len(result.blocks)}"] if len(result.blocks) > 1 else []
        lines += _block_lines(block, style)
    lines += [_by_itself(t, style) for t in result.together]
    lines += [f"  {text}" for text in warnings(result.problems)]
    return "\n".join(lines) + "\n"


def photos_named(result: PhotoResult) -> str:
    """Name the photo that sizes come from, or the several that were measured together."""
    names = [in_one_line(t.path.name) for t in result.together if t.used]
    if not names:
        return in_one_line(result.path.name)
    return f"{', '.join(names[:-1])} and {names[-1]} together"


def _by_itself(taken: Taken, style: Style) -> str:
    name = in_one_line(taken.path.name)
    if taken.width_mm is None or taken.height_mm is None:
        return f"  {name}: not measured"
    w, h = (format_exact(e.value, unit=style.unit) for e in (taken.width_mm, taken.height_mm))
    w = w.removesuffix(f" {style.unit}")
    left_out = "" if taken.used else ", left out"
    return f"  {name} by itself: {w} × {h}{left_out}"


def _block_lines(b: Measurement, style: Style) -> list[str]:
    def row(name: str, e: Estimate, written: str = "") -> str:
        sure = format_uncertainty(e.u95, unit=style.unit)
        return f"  {name:<15s}{written or style.length(e.value):>12s}   ± {sure}"

    lines = [row("width", b.width_mm), row("height", b.height_mm)]
    lines += [row(f"{name} side", e) for name, e in zip(SIDES, b.sides_mm, strict=True)]
    square = b.out_of_square_mm
    worst = max(range(4), key=lambda k: abs(b.angles_deg[k].value - 90))
    lines.append(
        row("out of square", Estimate(abs(square.value), square.budget))
        + f"   (worst corner, {CORNERS[worst]}: {b.angles_deg[worst].value:.1f}°)"
    )
    side, bow = max(zip(SIDES, b.bow_mm, strict=True), key=lambda one: one[1].value)
    lines.append(row("largest bow", bow, as_fine(bow, style.unit)) + f"   ({side} side, {BOW})")
    if style.planned is not None:
        lines += _fit_lines(b, style.planned, style)
    if style.budget:
        for name, e in (("width", b.width_mm), ("height", b.height_mm)):
            lines.append(f"  what the ± of the {name} comes from (1 sigma):")
            lines += [
                f"    {t.name:<14s}{format_exact(t.u, unit=style.unit, digits=4):>10s}"
                for t in e.budget
            ]
    return lines


def as_fine(e: Estimate, unit: str) -> str:
    """Write a small length to the digits of its ±, which a fraction of an inch would hide."""
    return format_exact(e.value, unit=unit, digits=2 if unit == "cm" else 3)


def _fit_lines(b: Measurement, planned: tuple[float, float], style: Style) -> list[str]:
    lines = []
    answers = zip(
        b.against(planned, style.tolerance), b.doubts(planned, style.tolerance), strict=True
    )
    sizes = (("width", b.width_mm), ("height", b.height_mm))
    for (name, e), mm, (says, wrong) in zip(sizes, planned, answers, strict=True):
        doubt = ""
        if wrong > DOUBT:
            other = {"yes": "it is not", "no": "it is after all"}[says]
            doubt = f". A close call, with a {percent(wrong)} chance that {other}: measure with the ruler"
        lines.append(
            f"  {name} within {style.length(style.tolerance)} of {style.length(mm)}: "
            f"{ANSWERS[says]} ({style.length(e.value - mm, sign=True)}){doubt}"
        )
    if sideways(b.width_mm.value, b.height_mm.value, planned):
        lines.append(f"  {SIDEWAYS}")
    return lines


def sideways(width_mm: float, height_mm: float, planned: tuple[float, float]) -> bool:
    """Whether a block fits its planned size far better lying on its side."""
    w, h = planned
    upright = abs(width_mm - w) + abs(height_mm - h)
    return abs(width_mm - h) + abs(height_mm - w) < upright / 4


def measured_with(result: PhotoResult) -> str:
    """Say in a line what a photo was measured by."""
    name = in_one_line(result.path.name)
    if result.plane is None:
        return f"{name}: nothing of known size was found"
    there = {p.reference.kind for p in result.plane.references}
    kinds = " and ".join(said for kind, said in REFERENCES.items() if kind in there)
    plane = result.plane
    return (
        f"{name}: measured by {kinds}; camera tilted by {plane.camera.tilt_deg:.1f}°, "
        f"they fit to {plane.fit_rms_px:.2f} px"
    )


def verification(found: Verification, unit: str) -> str:
    """Set a known size beside what the photo says."""
    lines = [in_one_line(found.result.path.name)]
    lines += [f"  {text}" for text in warnings(found.result.problems)]
    lines.append(f"  {'':8}{'known':>22}{'measured':>22}   off")
    lines += [
        f"  {name:8}{known:>22}{measured:>22}   {off}"
        for name, known, measured, off in verified(found, unit)
    ]
    return "\n".join([*lines, height_taken(found, unit), verdict(found, unit)])


def height_taken(found: Verification, unit: str) -> str:
    """How high the thing's top was taken to lie, and why."""
    why = {
        "given": "as you say",
        "bank card": "as a bank card's does",
        "cloth": "as cloth's does; if it is thicker, say how high it is (--cloth-height)",
    }[found.height_from]
    high = f"{found.height_mm:.3g} mm"
    high += f" ({format_exact(found.height_mm, unit=unit, digits=3)})" if unit == "in" else ""
    return f"Its top was taken to lie {high} above the mat, {why}."


def verified(found: Verification, unit: str) -> list[tuple[str, str, str, str]]:
    """Each side: its name, what is known, what was measured, and how far off that is."""
    rows = []
    for name, known, measured, e in zip(
        ("width", "height"), found.known, found.measured, found.e_n, strict=True
    ):
        off = format_exact(abs(measured.value - known.value), unit=unit)
        way = "larger" if measured.value > known.value else "smaller"
        says = "agrees" if abs(e) <= 1 else "DOES NOT AGREE"
        said = f"{off} {way}: {says} (E_n {e:+.2f})"
        rows.append((name, _exact(known, unit), _exact(measured, unit), said))
    return rows


def verdict(found: Verification, unit: str) -> str:
    """Whether a known size and a photo agree, and what that shows or what to do."""
    if found.agrees:
        length, words = (254.0, "10 in") if unit == "in" else (250.0, "25 cm")
        least = format_exact(length * found.least_seen, unit=unit)
        return (
            f"They agree. What this check could not have shown: an error of less than {least} in "
            f"a length of {words}."
        )
    return (
        "They do NOT agree: do not cut by these photos. Measure the printed card with a ruler "
        "and give its size (--card-side), lay everything flat, check the size and height of "
        "what you measured (--known, --cloth-height), and take the photo again."
    )


def repeatability(found: Repeatability, tolerance_mm: float, unit: str) -> str:
    """Say how well photos of the same blocks agree."""
    lines = [repeats(found)]
    for name, rows in repeated(found, tolerance_mm, unit):
        lines += [f"  {name}", *(f"    {what:<23}{said}" for what, said in rows)]
    return "\n".join([*lines, CHANCE_ONLY])


def repeats(found: Repeatability) -> str:
    """How many photos of how many blocks there are."""
    counts = [len(group) for group in found.widths]
    if len(counts) == 1:
        return f"{counts[0]} photos of one block"
    return f"{sum(counts)} photos of {len(counts)} blocks"


def repeated(
    found: Repeatability, tolerance_mm: float, unit: str
) -> list[tuple[str, list[tuple[str, str]]]]:
    """For the width and the height: what was looked at, each with what it shows."""
    both = []
    for name, groups, study in (
        ("width", found.widths, found.width),
        ("height", found.heights, found.height),
    ):
        s = study.repeatability
        u95 = Estimate(0.0, (s,)).u95
        stated = max(e.u95 for group in groups for e in group)
        share = percent_of_tolerance(s.u, 2 * tolerance_mm)
        rows = [
            ("readings", ", ".join(format_exact(e.value, unit=unit) for g in groups for e in g)),
            (
                "repeatability s",
                f"{format_uncertainty(s.u, unit=unit)}  (degrees of freedom: {study.df_within})",
            ),
            (
                "one photo repeats to",
                f"± {format_uncertainty(u95, unit=unit)} (95 %); blockcheck states "
                f"± {format_uncertainty(stated, unit=unit)}, all causes together",
            ),
            (
                "share of the tolerance",
                f"± {format_exact(tolerance_mm, unit=unit)} (6 s): {share:.0f} %, {_judged(share)}",
            ),
            *_between(study),
        ]
        both.append((name, rows))
    return both


def _between(study: OneWay) -> list[tuple[str, str]]:
    if study.df_between == 0:
        return []
    s = study.repeatability.u
    total = (s**2 + study.between**2) ** 0.5
    share = 100 * s / total if total else 0.0
    return [("%GRR", f"of the spread between your blocks: {share:.0f} %, {_judged(share)}")]


def _judged(per_cent: float) -> str:
    if per_cent < GOOD:
        return "good (under 10 %)"
    if per_cent <= POOR:
        return "good enough where little depends on it (10 to 30 %)"
    return "NOT good enough (over 30 %)"


def gauge_table(path: Path, study: GaugeStudy) -> str:
    """Write a gauge study as a table."""
    rows = (
        ("repeatability EV", study.ev),
        ("from person to person AV", study.av),
        ("both GRR", study.grr),
        ("from part to part PV", study.pv),
        ("total TV", study.tv),
    )
    lines = [f"{in_one_line(path.name)}: gauge study (standard deviations in the table's unit)"]
    lines += [f"  {name:26}{value:10.4f}" for name, value in rows]
    lines.append(f"  {'%GRR':26}{study.percent_grr:10.1f} %, {_judged(study.percent_grr)}")
    lines.append(f"  {'sizes it can tell (ndc)':26}{study.ndc:10.1f}")
    return "\n".join(lines)


def lens_table(profile: LensProfile, found: Calibration, views: Sequence[LensView]) -> str:
    """Say what was learnt of a lens, and which photos fit badly."""
    u_f = 200 * profile.covariance[0, 0] ** 0.5
    moved, u_moved = (100 * v for v in profile.corner_distortion())
    focal = f", {profile.focal_35mm:g} mm" if profile.focal_35mm else ""
    lines = [
        f"{profile.camera}, {profile.width} × {profile.height}{focal}: {profile.photos} photos, "
        f"points off by {profile.rms_px:.2f} px",
        f"  focal length            {found.lens.f:.0f} px ± {u_f:.1f} %",
        f"  the photo's corners lie {abs(moved):.2f} % too far {'out' if moved > 0 else 'in'} "
        f"± {2 * u_moved:.2f} %",
    ]
    usual = sorted(found.view_rms_px)[len(views) // 2]
    for view, rms in zip(views, found.view_rms_px, strict=True):
        if rms > max(_BADLY * usual, 0.3):
            lines.append(f"  Note: {view.name} fits badly ({rms:.2f} px): was the sheet flat?")
    if u_f > 2:
        lines.append("  Note: lean the phone about 20° to each side in more of the photos.")
    return "\n".join(lines)


def _exact(e: Estimate, unit: str) -> str:
    return f"{format_exact(e.value, unit=unit)} ± {format_uncertainty(e.u95, unit=unit)}"
