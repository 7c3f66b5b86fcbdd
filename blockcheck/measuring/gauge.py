"""How well a way of measuring agrees with itself and with a known size.

Analysis of variance with one factor and the gauge study with two (parts x people), as in
AIAG, Measurement Systems Analysis, 4th ed., and NIST/SEMATECH e-Handbook, 2.4; the number
E_n of ISO/IEC 17043 and ISO 13528. Everything is in the readings' own unit.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import ReadingsError
from ..uncertainty import Estimate, Term

POOL_ABOVE = 0.25  # interaction less sure than this is taken for repeatability: common practice
GOOD, POOR = 10.0, 30.0  # per cent: AIAG's usual bounds (from memory)
_ROW = "Write one reading a line: part,person,try,value."


@dataclass(frozen=True)
class OneWay:
    """Analysis of variance of readings in groups.

    Attributes
    ----------
    ms_between, ms_within : float
        Mean squares; the first is nan with one group.
    df_between, df_within : int
    n0 : float
        Readings per group; the weighted mean where groups differ in size.
    """

    ms_between: float
    ms_within: float
    df_between: int
    df_within: int
    n0: float

    @property
    def f(self) -> float:
        """Ratio of the mean squares."""
        return self.ms_between / self.ms_within if self.ms_within else math.inf

    @property
    def repeatability(self) -> Term:
        """Standard deviation within a group, with its degrees of freedom."""
        return Term("repeatability", math.sqrt(self.ms_within), self.df_within)

    @property
    def between(self) -> float:
        """Standard deviation from group to group, without what repeatability adds."""
        if self.df_between == 0:
            return 0.0
        return math.sqrt(max(0.0, (self.ms_between - self.ms_within) / self.n0))


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """Analyse readings of several things, each read several times.

    Raises
    ------
    ReadingsError
        If nothing was read twice.
    """
    arrays = [np.asarray(g, float) for g in groups if len(g)]
    n = np.array([len(a) for a in arrays])
    within = int(n.sum()) - len(arrays)
    if within < 1:
        raise ReadingsError(
            "Nothing was measured twice, so there is no repeatability to see.",
            "Take three or more photos of the same block (two are the least; five are better).",
        )
    means = np.array([a.mean() for a in arrays])
    grand = float(np.average(means, weights=n))
    between = len(arrays) - 1
    squares = sum(float(np.sum((a - m) ** 2)) for a, m in zip(arrays, means, strict=True))
    return OneWay(
        ms_between=float(np.sum(n * (means - grand) ** 2)) / between if between else math.nan,
        ms_within=squares / within,
        df_between=between,
        df_within=within,
        n0=float(n.sum() - np.sum(n**2) / n.sum()) / between if between else float(n[0]),
    )


@dataclass(frozen=True)
class GaugeStudy:
    """Where the spread of readings comes from, as standard deviations.

    Attributes
    ----------
    ev, av : float
        Equipment variation (repeatability) and appraiser variation (from person to person,
        with the interaction of people and parts where there is one).
    pv : float
        From part to part.
    ev_dof : int
        Degrees of freedom of `ev`.
    pooled : bool
        Whether the interaction was so small that it went into `ev`.
    """

    ev: float
    av: float
    pv: float
    ev_dof: int
    pooled: bool

    @property
    def grr(self) -> float:
        """Repeatability and reproducibility together."""
        return math.hypot(self.ev, self.av)

    @property
    def tv(self) -> float:
        """Total variation."""
        return math.hypot(self.grr, self.pv)

    @property
    def percent_grr(self) -> float:
        """Part of the total variation that is the gauge's, in per cent."""
        return 100 * self.grr / self.tv if self.tv else 0.0

    @property
    def ndc(self) -> float:
        """Distinct categories among the parts that the gauge can tell: 1.41 PV / GRR."""
        return 1.41 * self.pv / self.grr if self.grr else math.inf


def percent_of_tolerance(s: float, low_to_high: float) -> float:
    """Part of a tolerance, `low_to_high` wide, that six standard deviations take up, in per cent."""
    return 600 * s / low_to_high


def gauge_study(readings: np.ndarray) -> GaugeStudy:
    """Analyse a crossed study by ANOVA.

    Parameters
    ----------
    readings : (parts, people, tries) array
        Two parts or more, one person or more, two tries or more.

    Raises
    ------
    ReadingsError
        If there are too few parts or tries, or a reading is missing.
    """
    y = np.asarray(readings, float)
    if y.ndim != 3 or y.shape[0] < 2 or y.shape[2] < 2 or not np.isfinite(y).all():
        raise ReadingsError(
            "A gauge study needs two or more parts, each read twice or more by every person.",
            _ROW,
        )
    p, a, n = y.shape
    grand, cells = y.mean(), y.mean(axis=2)
    by_part, by_person = cells.mean(axis=1), cells.mean(axis=0)
    df_e, df_pa = p * a * (n - 1), (p - 1) * (a - 1)
    ss_e = float(np.sum((y - cells[:, :, None]) ** 2))
    ss_pa = n * float(np.sum((cells - by_part[:, None] - by_person + grand) ** 2))
    ms_part = a * n * float(np.sum((by_part - grand) ** 2)) / (p - 1)
    ms_person = p * n * float(np.sum((by_person - grand) ** 2)) / (a - 1) if a > 1 else 0.0
    ms_e = ss_e / df_e
    ms_pa = ss_pa / df_pa if df_pa else ms_e
    from scipy.special import fdtrc  # takes a third of a second to load

    pooled = df_pa == 0 or not ms_e or bool(fdtrc(df_pa, df_e, ms_pa / ms_e) > POOL_ABOVE)
    if pooled:
        df_e += df_pa
        ms_e = ms_pa = (ss_e + ss_pa) / df_e
    interaction = max(0.0, (ms_pa - ms_e) / n)
    people = max(0.0, (ms_person - ms_pa) / (p * n)) if a > 1 else 0.0
    return GaugeStudy(
        ev=math.sqrt(ms_e),
        av=math.sqrt(people + interaction),
        pv=math.sqrt(max(0.0, (ms_part - ms_pa) / (a * n))),
        ev_dof=df_e,
        pooled=pooled,
    )


def read_readings(path: Path) -> np.ndarray:
    """Read a study from a CSV file with the columns part, person, try and value.

    Returns
    -------
    (parts, people, tries) array
        In the order in which parts and people first appear.

    Raises
    ------
    ReadingsError
        If the file cannot be read, a column is missing, or part and person lack a reading.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file, skipinitialspace=True))
    except (OSError, UnicodeDecodeError, csv.Error) as e:
        raise ReadingsError(f"{path.name} cannot be read as a table.", _ROW) from e
    cells: dict[tuple[str, str], list[float]] = {}
    for number, row in enumerate(rows, start=2):
        try:
            value = float(row["value"])
            cells.setdefault((row["part"], row["person"]), []).append(value)
        except (KeyError, TypeError, ValueError) as e:
            raise ReadingsError(f"Line {number} of {path.name} is not a reading.", _ROW) from e
    parts = list(dict.fromkeys(part for part, _ in cells))
    people = list(dict.fromkeys(person for _, person in cells))
    tries = {len(v) for v in cells.values()}
    if len(cells) != len(parts) * len(people) or len(tries) != 1:
        raise ReadingsError(
            f"In {path.name} not every person has read every part equally often.", _ROW
        )
    return np.array([[cells[part, person] for person in people] for part in parts])


def e_n(measured: Estimate, known: Estimate) -> float:
    """Difference over the expanded uncertainty of both; within -1 to 1 they agree.

    ISO/IEC 17043:2023, B.3; ISO 13528:2022, 9.7 (clauses from memory).
    """
    return (measured.value - known.value) / math.hypot(measured.u95, known.u95)
