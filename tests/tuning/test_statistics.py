"""Least squares and Student's t against scipy's, and against a printed table."""

import random

import pytest

from analyzer.tuning.statistics import cauchy, least_squares, student_t

np = pytest.importorskip("numpy", reason="a fit needs numpy")

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values of Student's t-distribution, from
# memory: degrees of freedom, chance, t.
PRINTED = ((1, 0.95, 6.314), (2, 0.975, 4.303), (5, 0.99, 3.365), (10, 0.975, 2.228), (30, 0.995, 2.750),
           (100, 0.999, 3.174))


@pytest.mark.parametrize(("dof", "chance", "t"), PRINTED)
def test_students_t_is_that_of_the_printed_table(dof: int, chance: float, t: float) -> None:
    assert student_t(dof, chance) == pytest.approx(t, abs=6e-4)


def test_students_t_is_scipys_from_the_middle_to_the_far_tail() -> None:
    special = pytest.importorskip("scipy.special")
    for seed in range(300):
        rng = random.Random(seed)
        dof = rng.choice((rng.uniform(0.5, 5), rng.uniform(1, 2000), rng.randint(1, 30)))
        chance = rng.choice((rng.uniform(0.5, 1), 1 - 10 ** -rng.uniform(1, 8)))
        assert student_t(dof, chance) == pytest.approx(float(special.stdtrit(dof, chance)), rel=1e-9), seed


@pytest.mark.parametrize(("dof", "chance"), [(0, 0.9), (3, 0.4), (3, 1.0)])
def test_students_t_refuses_what_has_no_answer(dof: float, chance: float) -> None:
    with pytest.raises(ValueError, match="wants a chance"):
        student_t(dof, chance)


@pytest.mark.parametrize("robust", [False, True])
def test_least_squares_go_where_scipys_go(robust: bool) -> None:
    """Curves of two parameters with noise, and with a wild point where the fit is robust."""
    optimize = pytest.importorskip("scipy.optimize")
    for seed in range(30):
        rng = np.random.default_rng(seed)
        x = np.linspace(0, 3, 25)
        read = 2.0 * np.exp(-0.7 * x) + rng.normal(0, 0.05, len(x))
        if robust:
            read[rng.integers(len(x))] += 3.0

        def residuals(values, x=x, read=read):
            return (values[0] * np.exp(-values[1] * x) - read) / 0.05

        def slopes(values, x=x):
            falls = np.exp(-values[1] * x)
            return np.column_stack([falls, -values[0] * x * falls]) / 0.05

        begin = np.array([1.5, 0.5])
        values, rest, rows = least_squares(residuals, slopes, begin, weigh=cauchy if robust else None)
        theirs = optimize.least_squares(residuals, begin, jac=slopes, loss="cauchy" if robust else "linear", xtol=1e-12,
                                        ftol=1e-12, gtol=1e-12)
        ours_total = (cauchy(rest ** 2)[0] if robust else rest ** 2).sum() / 2
        assert ours_total <= theirs.cost * (1 + 1e-9)
        assert values == pytest.approx(theirs.x, rel=1e-5)
        assert rows == pytest.approx(slopes(values))
