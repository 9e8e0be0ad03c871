"""What a fit needs of statistics: least squares by damped steps, and Student's t."""

from collections.abc import Callable
from math import exp, inf, lgamma, log
from typing import Any

_MOST_STEPS = 200
_SETTLED = 1e-12
"""A search ends when a step changes the sum of squares by less than this share of it."""


def least_squares(residuals: Callable[[Any], Any], slopes: Callable[[Any], Any], begin: Any, *,
                  weigh: Callable[[Any], tuple[Any, Any]] | None = None) -> tuple[Any, Any, Any]:
    """Return the values whose residuals have the least sum of squares, with residuals and slopes there. Needs numpy.

    Parameters
    ----------
    residuals, slopes : callable
        Of values (n,): residuals (m,), and how each moves with each value (m, n).
    begin : array (n,)
        Where to begin.
    weigh : callable, optional
        Of squares (m,): what each counts in place of the square, and the derivative of that, for a robust fit.

    Notes
    -----
    Steps of Gauss and Newton, damped by Marquardt's rule (D. W. Marquardt, "An algorithm for least-squares estimation
    of nonlinear parameters", SIAM Journal on Applied Mathematics 11, 1963): a step that helps is taken and damping
    falls, else it grows. A robust fit weighs each residual anew at every step.
    """
    import numpy as np

    def looked(values: Any) -> tuple[Any, Any, float]:
        rest = residuals(values)
        counts, share = weigh(rest ** 2) if weigh else (rest ** 2, np.ones_like(rest))
        return rest, share, float(counts.sum())

    values, damping = begin, 1e-6
    rest, share, total = looked(values)
    for _ in range(_MOST_STEPS):
        rows = slopes(values)
        square = rows.T @ (rows * share[:, None])
        down = rows.T @ (rest * share)
        while damping < 1e12:
            tried = values - np.linalg.solve(square + damping * np.diag(np.diag(square)), down)
            found = looked(tried)
            if found[2] <= total:
                break
            damping = max(10 * damping, 1e-9)
        else:
            break
        gained = total - found[2]
        values, (rest, share, total), damping = tried, found, damping / 10
        if gained <= _SETTLED * total:
            break
    return values, rest, slopes(values)


def student_t(dof: float, chance: float) -> float:
    """Return the t that Student's distribution with `dof` degrees of freedom stays below with this chance.

    Parameters
    ----------
    dof : float
        Degrees of freedom, above 0, whole or not.
    chance : float
        From 0.5 up to, not with, 1.

    Notes
    -----
    Both tails beyond t have the chance I(dof/2, 1/2) at dof/(dof + t²), the incomplete beta function (M. Abramowitz and
    I. A. Stegun, Handbook of Mathematical Functions, 26.7.1 and 26.5.8); the t is found by halving.

    Examples
    --------
    >>> round(student_t(10, 0.975), 3)
    2.228
    """
    if not 0.5 <= chance < 1 or dof <= 0:
        raise ValueError("Student's t wants a chance from 0.5 up to 1, and degrees of freedom above 0")
    tails = 2 * (1 - chance)
    low, high = 0.0, 1.0
    while _tails(dof, high) > tails:
        low, high = high, 2 * high
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if _tails(dof, middle) > tails else (low, middle)
    return high if tails < 1 else 0.0


def _tails(dof: float, t: float) -> float:
    """Return the chance that |t| is larger."""
    return _incomplete_beta(dof / 2, 0.5, dof / (dof + t * t), t * t / (dof + t * t))


def _incomplete_beta(a: float, b: float, x: float, rest: float) -> float:
    """Return the regularised incomplete beta function at x; `rest` is 1 - x, which a small x would lose."""
    if x <= 0 or rest <= 0:
        return 0.0 if x <= 0 else 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(rest))
    # The fraction closes fast on this side of the mean only.
    return front / a * _fraction(a, b, x) if x < (a + 1) / (a + b + 2) else 1 - front / b * _fraction(b, a, rest)


def _fraction(a: float, b: float, x: float) -> float:
    """Return the continued fraction of the incomplete beta function, by Lentz's method."""
    tiny = 1e-300
    c, d = 1.0, 1 / (1 - (a + b) * x / (a + 1) or tiny)
    value, before, k = d, inf, 1
    while abs(value - before) > 1e-16 * abs(value) and k < 10_000:
        before = value
        for term in (k * (b - k) * x / ((a + 2 * k - 1) * (a + 2 * k)),
                     -(a + k) * (a + b + k) * x / ((a + 2 * k) * (a + 2 * k + 1))):
            d = 1 / (1 + term * d or tiny)
            c = 1 + term / c or tiny
            value *= c * d
        k += 1
    return value


def cauchy(squares: Any) -> tuple[Any, Any]:
    """Return what squares count under Cauchy's loss, which bends off from 1 on, and the derivative of it."""
    import numpy as np

    return np.log1p(squares), 1 / (1 + squares)
