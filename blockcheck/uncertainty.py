"""Uncertainty budgets after JCGM 100:2008 (GUM) and decision rules after JCGM 106:2012."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np

_PLENTY = 61  # degrees of freedom: Student's t asks for no more than k = 2 (JCGM 100, table G.2)


@dataclass(frozen=True)
class Term:
    """One named contribution: standard uncertainty `u` with `dof` degrees of freedom."""

    name: str
    u: float
    dof: float = math.inf


@dataclass(frozen=True)
class Estimate:
    """A value with the budget of its uncertainty, in the value's unit.

    The terms are independent and add in quadrature (JCGM 100, 5.1.2).
    """

    value: float
    budget: tuple[Term, ...] = ()

    @cached_property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(sum(t.u**2 for t in self.budget))

    @cached_property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, JCGM 100, G.2b)."""
        spread = sum(t.u**4 / t.dof for t in self.budget if t.dof < math.inf)
        return self.u**4 / spread if spread > 0 else math.inf

    def expanded(self, level: float) -> float:
        """Half-width of the interval of coverage `level` (t distribution, JCGM 100, G.3).

        The degrees of freedom are truncated to a whole number, as G.4.1 asks.
        """
        return coverage_factor(level, self.dof) * self.u

    @cached_property
    def u95(self) -> float:
        """Expanded uncertainty: k = 2, or Student's t where few degrees of freedom ask for more."""
        if self.dof >= _PLENTY:
            return 2.0 * self.u
        return max(2.0, coverage_factor(0.95, self.dof)) * self.u

    def scaled(self, factor: float) -> Estimate:
        """Return the estimate of `factor` times this quantity."""
        terms = tuple(Term(t.name, abs(factor) * t.u, t.dof) for t in self.budget)
        return Estimate(factor * self.value, terms)


def coverage_factor(level: float, dof: float) -> float:
    """Two-sided coverage factor for `level` (0.95, say)."""
    if math.isinf(dof):
        return NormalDist().inv_cdf(0.5 + level / 2)
    from scipy.special import stdtrit  # a third of a second to load, and seldom needed

    return float(stdtrit(max(1.0, math.floor(dof + 1e-9)), 0.5 + level / 2))


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is below `z`."""
    return math.erfc(-z / math.sqrt(2)) / 2


def combine(terms: Iterable[Term]) -> tuple[Term, ...]:
    """Merge terms of one name in quadrature and leave out zeros, keeping first-seen order."""
    squares: dict[str, float] = {}
    spread: dict[str, float] = {}
    for t in terms:
        squares[t.name] = squares.get(t.name, 0.0) + t.u**2
        spread[t.name] = spread.get(t.name, 0.0) + (t.u**4 / t.dof if t.dof < math.inf else 0.0)
    return tuple(
        Term(name, math.sqrt(s), s**2 / spread[name] if spread[name] else math.inf)
        for name, s in squares.items()
        if s > 0
    )


def weighted_mean(estimates: Sequence[Estimate]) -> Estimate:
    """The best mean of several estimates of one quantity: no worse than the best of them.

    Least squares with what they share: terms of one name that ends in "scale" are common to all
    (JCGM 100, F.1.2.3), the others independent. Weights are not negative.
    """
    if len(estimates) == 1:
        return estimates[0]
    from scipy.optimize import nnls  # takes a third of a second to load, and is seldom needed

    exact = [e for e in estimates if e.u == 0]
    if exact:
        return exact[-1]
    names = list(dict.fromkeys(t.name for e in estimates for t in e.budget))
    parts = np.array(
        [
            [math.sqrt(sum(t.u**2 for t in e.budget if t.name == n)) for n in names]
            for e in estimates
        ]
    )
    shared = np.array([n.endswith("scale") for n in names])
    own = np.sqrt((parts[:, ~shared] ** 2).sum(axis=1))
    # |root · w| is the mean's standard uncertainty
    root = np.vstack([np.diag(own), parts[:, shared].T])
    heavy = 1e6 * float(root.max())  # that the weights add up to one
    rows = np.vstack([root, np.full((1, len(estimates)), heavy)])
    weights = nnls(rows, np.append(np.zeros(len(root)), heavy))[0]
    weights /= weights.sum()
    best = int(np.argmin([e.u for e in estimates]))
    if np.linalg.norm(root @ weights) > estimates[best].u:  # by rounding only
        return estimates[best]
    terms = [
        Term(t.name, float(w) * t.u, t.dof)
        for e, w in zip(estimates, weights, strict=True)
        for t in e.budget
        if not t.name.endswith("scale")
    ]
    terms += [Term(name, float(parts[:, i] @ weights)) for i, name in enumerate(names) if shared[i]]
    value = float(sum(w * e.value for e, w in zip(estimates, weights, strict=True)))
    return Estimate(value, combine(terms))


def conformance_probability(value: float, u: float, low: float, high: float) -> float:
    """Probability that a quantity lies in [low, high], given a normal PDF (JCGM 106, 7.4)."""
    if u == 0:
        return 1.0 if low <= value <= high else 0.0
    return normal_cdf((high - value) / u) - normal_cdf((low - value) / u)


def verdict(value: float, u: float, low: float, high: float, level: float = 0.95) -> str:
    """Decide with guard bands (JCGM 106, 8.3): "yes", "no" or "too close to call"."""
    p = conformance_probability(value, u, low, high)
    return "yes" if p >= level else "no" if p <= 1 - level else "too close to call"


def scale_u(e: Estimate) -> float:
    """The part of the standard uncertainty that all photos share: the references' own size."""
    return math.sqrt(sum(t.u**2 for t in e.budget if t.name.endswith("scale")))


def own_u(e: Estimate) -> float:
    """The part of the standard uncertainty that is the block's alone."""
    return math.sqrt(max(e.u**2 - scale_u(e) ** 2, 0.0))
