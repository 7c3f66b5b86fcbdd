"""What a person may say about a photo, the same on the command line and in Python."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .errors import LengthError
from .profiles import LensProfile, load_profiles
from .units import format_about, parse_length, parse_size

Length = str | float


@dataclass(frozen=True)
class Settings:
    """Settings of a measurement, in millimetres.

    Attributes
    ----------
    card_side, sheet_side : float or None
        The printed card's board and the sheet's long side, as measured with a ruler.
    square : float or None
        Side of a plain square in the photo.
    grid : float or None
        Spacing of the mat's lines; without it 1 in or 1 cm, whichever fits the card.
    planned : (float, float) or None
        Planned unfinished width and height.
    cloth_height : float
        Of the cloth's face above the mat.
    focal : float or None
        35 mm equivalent focal length, for photos whose EXIF lacks it.
    profiles : tuple of LensProfile
        Of one's own lenses; a photo takes the one made for its camera, if there is one.
    """

    card_side: float | None = None
    sheet_side: float | None = None
    square: float | None = None
    grid: float | None = None
    planned: tuple[float, float] | None = None
    cloth_height: float = 0.5
    focal: float | None = None
    profiles: tuple[LensProfile, ...] = ()

    @classmethod
    def of(
        cls,
        *,
        card_side: Length | None = None,
        sheet_side: Length | None = None,
        square: Length | None = None,
        grid: Length | None = None,
        planned: str | tuple[float, float] | None = None,
        cloth_height: Length | None = None,
        focal: float | None = None,
        profiles: str | Path | None = None,
        unit: str = "in",
    ) -> Settings:
        """Read settings given as text (``"4in"``) or in millimetres.

        `profiles` names the file that `blockcheck lens` has written; `unit` is that of texts
        that name none.

        Raises
        ------
        LengthError
            If a length cannot be read or is out of all proportion.
        ProfileError
            If the file of lens profiles cannot be read.
        """
        within = (
            ("card side", card_side, 50, 300),
            ("sheet side", sheet_side, 100, 600),
            ("square", square, 20, 600),
            ("grid spacing", grid, 4, 120),
            ("cloth height", cloth_height, 0.01, 20),
        )
        read: list[float | None] = []
        for name, given, low, high in within:
            value = None if given is None else parse_length(given, unit)
            if value is not None and not low <= value <= high:
                raise LengthError(
                    f"The {name} {format_about(value, unit)} is not between {format_about(low, unit)} and "
                    f"{format_about(high, unit)}.",
                    "Name the unit, like 4in or 10cm.",
                )
            read.append(value)
        size = None if planned is None else parse_size(planned, unit)
        if size is not None and not 20 <= min(size) <= max(size) <= 2000:
            first, second = (format_about(mm, unit) for mm in size)
            told = f"{first.removesuffix(f' {unit}')} × {second}"
            raise LengthError(
                f"The planned size {told} is not between {format_about(20, unit)} and {format_about(2000, unit)}.",
                "Name the unit, like 6x9in or 15x23cm.",
            )
        if focal is not None and not 10 <= focal <= 300:
            raise LengthError(
                f"The focal length {focal:g} is not a 35 mm equivalent between 10 and 300.",
                "Phones have about 24 to 28.",
            )
        return cls(
            card_side=read[0],
            sheet_side=read[1],
            square=read[2],
            grid=read[3],
            planned=size,
            cloth_height=read[4] if read[4] is not None else 0.5,
            focal=focal,
            profiles=load_profiles(profiles) if profiles is not None else (),
        )
