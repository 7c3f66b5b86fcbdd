"""Profiles of one's own lenses, as `blockcheck lens` makes them, and the file that keeps them.

The file is JSON, described in docs/checking.md. Lengths in it are parts of the photo's
longer side and directions are the sensor's, so that a profile does not depend on how the
phone was turned.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from .errors import ProfileError
from .files import MAX_TEXT, read_whole, write_whole

SCHEMA = "blockcheck/lenses-1"


@dataclass(frozen=True, eq=False)
class LensProfile:
    """One lens at one resolution.

    Attributes
    ----------
    camera : str
        Maker and model, as EXIF names them.
    width, height : int
        Pixels, as the sensor reads them.
    focal_35mm : float or None
        What EXIF says; it tells the lenses of one phone apart.
    f : float
        Focal length ÷ the longer side.
    k1, k2 : float
        Radial distortion, as of `vision.lens`.
    cx, cy : float
        Principal point from the photo's middle ÷ the longer side, x and y of the sensor.
    covariance : (5, 5) array
        Of log f, k1, k2, cx, cy.
    photos : int
        How many photos it was made from.
    rms_px : float
        Distance that was left between seen and calculated points.
    """

    camera: str
    width: int
    height: int
    focal_35mm: float | None
    f: float
    k1: float
    k2: float
    cx: float
    cy: float
    covariance: np.ndarray
    photos: int
    rms_px: float

    @property
    def key(self) -> tuple[str, int, int, float | None]:
        """What a photo must share with the profile."""
        return self.camera, self.width, self.height, self.focal_35mm

    def corner_distortion(self) -> tuple[float, float]:
        """How far the photo's corner is moved, as a part of its distance, and 1 sigma of it."""
        r2 = (math.hypot(self.width, self.height) / 2 / max(self.width, self.height) / self.f) ** 2
        by = np.array([r2, r2 * r2])
        u = math.sqrt(max(0.0, float(by @ self.covariance[1:3, 1:3] @ by)))
        return float(by @ (self.k1, self.k2)), u


def load_profiles(path: str | Path) -> tuple[LensProfile, ...]:
    """Read a file of profiles.

    Raises
    ------
    ProfileError
        If it is missing or is no such file.
    """
    path = Path(path)
    hint = "Make one with: blockcheck lens PHOTO…"
    try:
        data = json.loads(read_whole(path, MAX_TEXT))
        if data["schema"] != SCHEMA:
            raise ValueError(data["schema"])
        return tuple(profile_from(entry) for entry in data["lenses"])
    except OSError as e:
        raise ProfileError(f"The lens file {path} cannot be opened ({e.strerror}).", hint) from e
    except (ValueError, KeyError, TypeError, RecursionError, OverflowError) as e:
        raise ProfileError(f"{path} is not a file of lens profiles, or is damaged.", hint) from e


def save_profile(path: str | Path, profile: LensProfile) -> None:
    """Keep a profile; one with the same key makes way, the others stay.

    Raises
    ------
    ProfileError
        If the file cannot be written or is no file of profiles.
    """
    path = Path(path)
    kept = [p for p in load_profiles(path) if p.key != profile.key] if path.exists() else []
    entries = [asdict(replace(p, covariance=p.covariance.tolist())) for p in (*kept, profile)]
    text = json.dumps({"schema": SCHEMA, "lenses": entries}, ensure_ascii=False, indent=1)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, (text + "\n").encode())
    except OSError as e:
        raise ProfileError(
            f"The lens file {path} cannot be written ({e.strerror}).",
            "Name another place with --profiles.",
        ) from e


def find_profile(
    profiles: Iterable[LensProfile], key: tuple[str | None, int, int, float | None]
) -> LensProfile | None:
    """Return the profile with a photo's camera, resolution and focal length."""
    return next((p for p in profiles if p.key == key), None)


def profile_from(entry: Mapping[str, Any]) -> LensProfile:
    """Read a profile from its JSON; what none can be raises ValueError, KeyError or TypeError."""
    numbers = np.array(entry["covariance"], float)
    if numbers.shape != (5, 5) or not np.allclose(numbers, numbers.T):
        raise ValueError("covariance")
    np.linalg.cholesky(numbers)
    profile = LensProfile(
        **{f.name: entry[f.name] for f in fields(LensProfile) if f.name != "covariance"},
        covariance=numbers,
    )
    if not all(math.isfinite(v) for v in (profile.f, profile.k1, profile.k2, profile.cx)):
        raise ValueError("number")
    if profile.f <= 0 or profile.width < 1 or profile.height < 1:
        raise ValueError("number")
    return profile
