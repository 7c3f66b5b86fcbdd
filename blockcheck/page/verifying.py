"""Checks of the measuring itself: a known size, one block several times, one's own lens.

The photos of a check lie in a folder of their own, so that none is taken for a block's.
"""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import ProjectError, UploadError
from ..files import sha256_of
from ..planning.plan import Plan
from ..project import Check
from ..project.records import settings_in
from ..report.html import unbroken
from ..report.phrases import sentence
from ..units import format_exact, parse_length, parse_size
from . import block_view, work
from .intake import KINDS, Received
from .queue import Queue
from .shelf import Shelf
from .wording import on_page

if TYPE_CHECKING:
    from ..measuring.checks import Repeatability, Verification

NEEDED = {"repeat": 2, "lens": 5}  # photos
MOST = 30
AGREES, DISAGREES = "agrees", "does not agree"
Shown = dict[str, Any]


def verified(path: Path, known: tuple[float, float], given: Mapping[str, Any]) -> Verification:
    """Measure something of known size (in a process of its own)."""
    from ..measuring.checks import verify_photo

    found = verify_photo(path, known, **given)
    return replace(found, result=replace(found.result, plane=None))


def repeated(paths: Sequence[Path], given: Mapping[str, Any]) -> Repeatability:
    """Measure one block in several photos, each by itself (in a process of its own)."""
    from ..measuring.checks import repeat_photos

    found = repeat_photos([paths], **given)
    return replace(found, failed=tuple(replace(r, plane=None) for r in found.failed))


def learnt(paths: Sequence[Path], given: Mapping[str, Any], lenses: Path) -> list[str]:
    """Make a lens's profile and keep it (in a process of its own); what is said of it."""
    from ..measuring.checks import profile_of_photos
    from ..profiles import save_profile
    from ..report.measured_words import lens_table

    profile, found, views, failed = profile_of_photos(paths, **given)
    save_profile(lenses, profile)
    said = lens_table(profile, found, views).splitlines()
    return [*(line.strip() for line in said), *(f"Left out: {error}" for error in failed)]


class Verifying:
    """Makes the checks; `lenses` is the file that keeps the profiles of lenses."""

    def __init__(self, shelf: Shelf, workers: work.Workers, queue: Queue, lenses: Path) -> None:
        self._shelf, self._workers, self._queue = shelf, workers, queue
        self._lenses = lenses

    def folder(self, project: str, kind: str) -> Path:
        """Where the photos of a kind of check lie.

        Raises
        ------
        UploadError
            If there are enough.
        """
        folder = folder_of(self._shelf, project, kind)
        if kind in NEEDED and len(photos_in(folder)) >= MOST:
            raise UploadError(f"{MOST} photos are enough.", "Go on with these.", 400)
        return folder

    def count(self, project: str, kind: str) -> int:
        """How many photos wait for a check."""
        return len(photos_in(folder_of(self._shelf, project, kind)))

    async def verify(self, project: str, received: Received, given: Mapping[str, str]) -> Shown:
        """Measure something of known size; the answer is kept in the project."""
        plan = self._shelf.read(project).plan
        try:
            known = parse_size(given.get("known", ""), plan.unit)
            asked = {
                **self._given(plan),
                "usual_height": plan.cloth_height,
                **{
                    name: parse_length(given[entry], plan.unit) if given.get(entry) else None
                    for name, entry in (("cloth_height", "height"), ("tolerance", "tolerance"))
                },
            }
            found = await self._workers.run("measure", verified, received.path, known, asked)
            if found.e_n:
                await asyncio.to_thread(self._keep, project, received, found)
        except BaseException:
            received.path.unlink(missing_ok=True)
            raise
        if not found.e_n:
            received.path.unlink(missing_ok=True)
        return _verification(found, plan)

    def _keep(self, project: str, received: Received, found: Verification) -> None:
        with self._shelf.open(project) as quilt:
            quilt.add_check(
                [k.value for k in found.known],
                found.measured,
                AGREES if found.agrees else DISAGREES,
                received.path,
                received.sha256,
            )

    async def repeat(self, project: str) -> Shown:
        """Say how well the photos of one block agree."""
        folder, plan = folder_of(self._shelf, project, "repeat"), self._shelf.read(project).plan
        found = await self._workers.run(
            "measure", repeated, _enough(folder, "repeat"), self._given(plan)
        )
        self.drop(project, "repeat")
        return _repeatability(found, plan)

    async def lens(self, project: str) -> Shown:
        """Make the profile of the lens; every photo from now on is measured with it."""
        folder, plan = folder_of(self._shelf, project, "lens"), self._shelf.read(project).plan
        paths = _enough(folder, "lens")
        said = await self._workers.run("measure", learnt, paths, self._given(plan), self._lenses)
        self._queue.profiles = self._lenses
        self.drop(project, "lens")
        said.append(f"Kept in {self._lenses}. Photos from this camera use it from now on.")
        return _answer(True, said)

    def readings(self, text: bytes) -> Shown:
        """A whole gauge study from a table of readings."""
        from ..measuring.gauge import gauge_study, read_readings
        from ..report.measured_words import gauge_table

        with tempfile.TemporaryDirectory(prefix="blockcheck-") as folder:
            file = Path(folder) / "The table"
            file.write_bytes(text)
            said = gauge_table(file, gauge_study(read_readings(file))).splitlines()
        return _answer(True, [line.strip() for line in said])

    def drop(self, project: str, kind: str) -> None:
        """Take the photos of a check off the disk; what was kept of one keeps its photo."""
        for path in photos_in(folder_of(self._shelf, project, kind)):
            path.unlink(missing_ok=True)

    def _given(self, plan: Plan) -> Shown:
        return {**settings_in(plan), "profiles": self._queue.profiles, "unit": plan.unit}


def folder_of(shelf: Shelf, project: str, kind: str) -> Path:
    """Where the photos of a kind of check lie."""
    return shelf.photos(project) / f"check-{kind}"


def photos_in(folder: Path) -> list[Path]:
    """The photos in a folder, by their names."""
    if not folder.is_dir():
        return []
    found = [p for p in folder.iterdir() if p.suffix in KINDS and not p.name.startswith(".")]
    return sorted(found)


def made(plan: Plan, checks: Sequence[Check]) -> list[Shown]:
    """The checks against a known size, the latest first."""
    return [
        {
            "when": block_view.when(check.at),
            "good": check.verdict == AGREES,
            "verdict": check.verdict,
            "known": _size(check.known_mm, plan),
            "measured": _size([e.value for e in check.measured], plan),
        }
        for check in reversed(checks)
    ]


def _size(sides_mm: Iterable[float], plan: Plan) -> str:
    return unbroken(" × ".join(format_exact(mm, unit=plan.unit) for mm in sides_mm))


def in_doubt(checks: Sequence[Check]) -> bool:
    """Whether the latest check says not to cut by the photos."""
    return bool(checks) and checks[-1].verdict == DISAGREES


def _enough(folder: Path, kind: str) -> list[Path]:
    found = photos_in(folder)
    if len({sha256_of(path) for path in found}) < NEEDED[kind]:
        few = "three photos or more" if kind == "repeat" else "five photos or more"
        raise ProjectError(f"These are too few different photos: take {few}.")
    return found


def _verification(found: Verification, plan: Plan) -> Shown:
    from ..report import measured_words as said

    if not found.e_n:
        error = next(p for p in found.result.problems if p.level == "error")
        return _answer(False, ["It could not be measured.", f"{error.message} {error.hint}"])
    told = [
        said.verdict(found, plan.unit),
        said.height_taken(found, plan.unit),
        *said.warnings(found.result.problems),
    ]
    tables = [
        (name, zip(("known", "measured", "off"), row, strict=True))
        for name, *row in said.verified(found, plan.unit)
    ]
    return _answer(found.agrees, told, tables)


def _answer(good: bool, said: Sequence[str], tables: Iterable[tuple[str, Any]] = ()) -> Shown:
    """Sentences, and tables of what was looked at and what it shows; sizes are not parted."""
    return {
        "good": good,
        "said": [unbroken(on_page(text)) for text in said],
        "tables": [
            {"name": sentence(name), "rows": [(what, unbroken(text)) for what, text in rows]}
            for name, rows in tables
        ],
    }


def _repeatability(found: Repeatability, plan: Plan) -> Shown:
    from ..measuring.gauge import POOR, percent_of_tolerance
    from ..report import measured_words as said

    failed = [said.refusal(result, "LEFT OUT") for result in found.failed]
    tables = said.repeated(found, plan.tolerance_mm, plan.unit)
    poor = any(
        percent_of_tolerance(study.repeatability.u, 2 * plan.tolerance_mm) > POOR
        for study in (found.width, found.height)
    )
    return _answer(
        not failed and not poor, [f"{said.repeats(found)}.", *failed, said.CHANCE_ONLY], tables
    )
