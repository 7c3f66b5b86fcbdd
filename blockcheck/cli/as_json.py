"""Answers as JSON: every dataclass as an object of its fields, lengths in millimetres."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from ..planning.cutting.workings import Working
from ..report.working_words import working
from ..uncertainty import Estimate


def to_json(kind: str, /, *, unit: str = "in", **parts: Any) -> str:
    """JSON text of schema ``blockcheck/KIND-1``; workings are written in `unit`."""
    content = {"schema": f"blockcheck/{kind}-1", **{k: plain(v, unit) for k, v in parts.items()}}
    return json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1)


def plain(value: Any, unit: str) -> Any:
    """A value as JSON has it: estimates with their U95, what is no number as null."""
    if isinstance(value, Estimate):
        return {"value": round(value.value, 4), "u95": round(value.u95, 4)}
    if isinstance(value, Working):
        return working(value, unit)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name), unit) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v, unit) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [plain(v, unit) for v in value]
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist(), unit)
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return value
