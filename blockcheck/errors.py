"""Everything that can be expected to go wrong, as one tree of exceptions.

Each error says in one sentence what is wrong and in a second what to do. Errors that end
the measuring of one photo carry the stable ``code`` that the JSON and the docs use.
"""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass

# controls, marks that turn the direction of writing, line separators, halves of characters
_ACTS = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def in_one_line(text: str) -> str:
    """Text whose control characters and ends of lines are shown as their numbers."""
    return _ACTS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def typed(command: str, *words: object) -> str:
    """A command of this program as it is typed: what a shell would part or read is quoted.

    Parameters
    ----------
    command : str
        Its name, like "add".
    *words
        Files, names, options and values, in their order.
    """
    return shlex.join(["blockcheck", command, *map(str, words)])


@dataclass(frozen=True)
class Problem:
    """Something that a person should know about a result.

    Attributes
    ----------
    code : str
        Stable name in lower_snake_case, listed in docs/problems.md.
    level : str
        ``"warning"`` (the result stands) or ``"error"`` (there is no result).
    message : str
        One sentence: what is wrong.
    hint : str
        One sentence: what to do about it.
    """

    code: str
    level: str
    message: str
    hint: str

    def __post_init__(self) -> None:
        """Keep sentences sentences, whatever the file in them is called."""
        object.__setattr__(self, "message", in_one_line(self.message))
        object.__setattr__(self, "hint", in_one_line(self.hint))


@dataclass(frozen=True)
class Doubtful:
    """An outline that was not believed, to be shown on the photo.

    Attributes
    ----------
    corners_px : tuple of four (x, y)
        Clockwise as seen from the one nearest the photo's top left, in photo pixels.
    sides : tuple of int
        Which sides are in doubt: 0 top, 1 right, 2 bottom, 3 left.
    """

    corners_px: tuple[tuple[float, float], ...]
    sides: tuple[int, ...] = ()


class BlockcheckError(Exception):
    """Root of all expected failures.

    Parameters
    ----------
    message : str
        One sentence: what is wrong, with the file's name where there is one.
    hint : str
        One sentence: what to do about it.
    """

    code = "error"

    def __init__(self, message: str, hint: str = "") -> None:
        self.message, self.hint = in_one_line(message), in_one_line(hint)
        super().__init__(self.message)

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()

    def problem(self) -> Problem:
        """Return this failure as a `Problem` of level "error"."""
        return Problem(self.code, "error", self.message, self.hint)


class OpenCVMissing(BlockcheckError, ImportError):
    """A library that OpenCV needs is not there."""

    code = "no_opencv"


class LengthError(BlockcheckError, ValueError):
    """A length, a size or a fraction that cannot be read."""

    code = "bad_length"


class PlanError(BlockcheckError, ValueError):
    """Numbers that do not make a cutting plan (a strip wider than the block, say)."""

    code = "bad_plan"


class ReadingsError(BlockcheckError, ValueError):
    """Readings that do not make a gauge study."""

    code = "bad_readings"


class ProfileError(BlockcheckError):
    """A lens profile that cannot be read, made or kept."""

    code = "bad_profile"


class ProjectError(BlockcheckError):
    """A project file that cannot be opened, read or written."""

    code = "project"


class ExchangeError(ProjectError):
    """A table or an exported project that cannot be read or written."""

    code = "exchange"


class DamagedProjectError(ProjectError):
    """A project file that is not as it was written."""

    code = "project_damaged"


class PageError(BlockcheckError):
    """The page cannot be served."""

    code = "page"


class UploadError(BlockcheckError):
    """A photo that the page does not take in.

    Parameters
    ----------
    message, hint : str
        As of `BlockcheckError`.
    status : int
        HTTP status.
    """

    code = "not_taken_in"

    def __init__(self, message: str, hint: str, status: int) -> None:
        super().__init__(message, hint)
        self.status = status


class MeasureError(BlockcheckError):
    """Root of what ends the measuring of one photo.

    Parameters
    ----------
    message, hint : str
        As of `BlockcheckError`.
    doubtful : Doubtful or None
        The outline that the failure is about, where there is one.
    """

    code = "not_measured"

    def __init__(self, message: str, hint: str = "", doubtful: Doubtful | None = None) -> None:
        super().__init__(message, hint)
        self.doubtful = doubtful


class PhotoError(MeasureError):
    """The file is not a photo that can be decoded."""

    code = "unreadable_photo"


class BlurredError(MeasureError):
    """The photo is too blurred to measure."""

    code = "blurred"


class OverexposedError(MeasureError):
    """The photo is so bright that edges are washed out."""

    code = "overexposed"


class NoReferenceError(MeasureError):
    """Nothing of known size was found in the photo."""

    code = "no_reference"


class ReferenceHiddenError(MeasureError):
    """A reference was found, but too little of it is seen."""

    code = "reference_hidden"


class ReferencesDisagreeError(MeasureError):
    """Two references contradict each other by more than their uncertainties allow."""

    code = "references_disagree"


class TiltedError(MeasureError):
    """The camera was held at too steep an angle."""

    code = "tilted"


class NoBlockError(MeasureError):
    """No block was found."""

    code = "no_block"


class BlockCutOffError(MeasureError):
    """The block reaches past the frame of the photo."""

    code = "block_cut_off"


class BlockTooSmallError(MeasureError):
    """The block covers too few pixels."""

    code = "too_small_in_photo"


class EdgeNotFoundError(MeasureError):
    """A side of the block could not be told from what it lies on."""

    code = "edge_not_found"


class BlocksTouchError(MeasureError):
    """Two blocks lie so near to each other that their edges cannot be told."""

    code = "blocks_touch"


class BlockGoesOnError(MeasureError):
    """What was found ends where its cloth goes on: half of a block, or part of a cover."""

    code = "block_goes_on"


class PhotosDisagreeError(MeasureError):
    """Several photos of one block contradict each other, and nobody can tell which is wrong."""

    code = "photos_disagree"


class TooFewPhotosError(MeasureError):
    """Of several photos of one block fewer than two can be used."""

    code = "too_few_photos"
