"""The parts of a fit on made problems whose answer is known: noise, errors, choice of values, names, widths."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.case import load
from airpath.case.parameters import parameters
from airpath.errors import CaseError
from airpath.measured.fitting.auto import choose
from airpath.measured.fitting.covariance import Tie, errors, groups, ties
from airpath.measured.fitting.freedom import Free, chosen, possible, stated_width, width
from airpath.measured.fitting.noise import residual, run_length, scatter
from airpath.measured.fitting.profile import Profile
from airpath.measured.fitting.squares import huber

CASES = Path(__file__).parents[2] / "cases"
CHANCE = np.random.default_rng(5)


def test_noise_alone_is_seen_as_noise():
    said = [residual(0.005 * np.random.default_rng(seed).standard_normal(300)) for seed in range(200)]
    assert not any(one.structural for one in said)
    assert np.mean([one.noise for one in said]) == pytest.approx(0.005, rel=0.03)
    assert np.mean([one.rms for one in said]) == pytest.approx(0.005, rel=0.01)
    assert np.mean([one.run for one in said]) < 1.3


def test_a_slow_wave_in_the_noise_is_structural_and_counts_once_a_run():
    wave = 0.01 * np.sin(np.linspace(0, 6 * np.pi, 300))
    said = residual(wave + 0.005 * CHANCE.standard_normal(300))
    assert said.structural
    assert said.noise == pytest.approx(0.005, rel=0.15)
    assert said.run > 20
    assert said.weight > 3 * said.rms


def test_outliers_are_no_structure_and_no_noise():
    values = 0.005 * CHANCE.standard_normal(400)
    values[::40] += 0.2
    said = residual(values)
    assert not said.structural
    assert said.rms == pytest.approx(0.005, rel=0.1)


def test_scatter_does_not_feel_a_smooth_curve():
    x = np.linspace(0, 1, 400)
    assert scatter(np.sin(9 * x) + 1e-3 * CHANCE.standard_normal(400)) == pytest.approx(1e-3, rel=0.12)


def test_run_length_of_a_known_process():
    """A first-order autoregression of coefficient a has 1 + 2 sum a^k = (1 + a)/(1 - a); closed form."""
    a, n = 0.8, 40_000
    step = CHANCE.standard_normal(n)
    values = np.empty(n)
    values[0] = 0.0
    for i in range(1, n):
        values[i] = a * values[i - 1] + step[i]
    assert run_length(values) == pytest.approx((1 + a) / (1 - a), rel=0.08)


def test_errors_are_those_of_bayes_in_closed_form():
    """One value, n equal points: 1/(1 + n s^2); two values that act alike: only their sum gets known."""
    one = errors(np.full((9, 1), 2.0), np.empty((9, 0)))
    assert one.total[0, 0] == pytest.approx(1 / 37)
    two = errors(np.full((9, 2), 1e4), np.empty((9, 0)))
    assert two.total[0, 0] == pytest.approx(0.5, rel=1e-6)
    assert two.total[0, 1] == pytest.approx(-0.5, rel=1e-6)
    assert ties(["a", "b"], two.total) == [Tie(first="a", second="b", correlation=pytest.approx(-1.0))]


def test_what_is_held_carries_over():
    """Held b acts just as a does, at half its strength: half of b's width ends up in a."""
    found = errors(np.full((9, 1), 1e4), np.full((9, 1), 0.5e4))
    assert found.carried[0, 0] == pytest.approx(0.5, rel=1e-6)
    assert np.sqrt(found.total[0, 0]) == pytest.approx(0.5, rel=1e-6)


def test_errors_against_numpy_s_own_least_squares():
    """Without priors worth mentioning the covariance is that of numpy.polyfit, unscaled."""
    x, sigma = np.linspace(0, 1, 50), 1e-4
    slopes = np.vander(x, 3) / sigma
    _, outside = np.polyfit(x, np.zeros(50), 2, w=np.full(50, 1 / sigma), cov="unscaled")
    np.testing.assert_allclose(errors(slopes, np.empty((50, 0))).total, outside, rtol=1e-5)


def test_groups_join_pairs_that_share_a_name():
    pairs = [Tie(first="a", second="b", correlation=1), Tie(first="c", second="d", correlation=1),
             Tie(first="b", second="c", correlation=1)]  # fmt: skip
    assert groups(pairs) == [["a", "b", "c", "d"]]


def test_the_data_choose_one_of_each_that_act_alike():
    base = CHANCE.standard_normal((100, 3))
    slopes = np.column_stack([base[:, 0], 5 * base[:, 0], base[:, 1], 1e-3 * base[:, 2], base[:, 0] + base[:, 1]])
    found = {choice.name: choice for choice in choose(["a", "a5", "b", "weak", "sum"], slopes)}
    assert sum(choice.taken for choice in found.values()) == 2
    assert found["a5"].taken and not found["a"].taken and not found["weak"].taken
    assert "just as a5" in found["a"].why
    assert "does not see" in found["weak"].why
    assert found["a"].strength == pytest.approx(np.linalg.norm(base[:, 0]))


def test_huber_leaves_priors_alone_and_bounds_outliers():
    z = np.array([1.0, 100.0, 100.0])
    value, first, second = huber(z, 2)
    assert value.tolist() == [1.0, 2 * 3 * 10 - 9, 100.0]
    assert first[1] == pytest.approx(0.3) and second[1] < 0 and second[2] == 0


def curve(u: np.ndarray, cost: np.ndarray, slope: np.ndarray, room: np.ndarray | float = 0.0) -> Profile:
    return Profile(u=u, cost=cost, slope=slope, room=room + np.zeros(len(u)), start=np.zeros((len(u), 1)))


def quantiles(u: np.ndarray, density: np.ndarray) -> list[float]:
    return np.interp([0.025, 0.975], np.cumsum(density) / density.sum(), u).tolist()


def test_the_interval_of_a_parabola_and_of_a_flat_side():
    """Cost u^2/s^2 is a normal density: 95 % within 1.96 s. A flat side counts as far as it was tried."""
    u = np.array([-4, -3, -1.5, -0.6, 0, 0.6, 1.5, 3])
    normal = curve(u, 7 + (u / 0.5) ** 2, 2 * u / 0.25)
    assert normal.interval() == (pytest.approx(-0.98, abs=3e-3), pytest.approx(0.98, abs=3e-3))
    assert normal.seen
    one_sided = curve(u, np.maximum(u / 0.5, 0.0) ** 2, 2 * np.maximum(u, 0.0) / 0.25)
    fine = np.linspace(-4, 3, 100_001)
    expected = quantiles(fine, np.exp(-np.maximum(fine / 0.5, 0.0) ** 2 / 2))
    assert one_sided.interval() == pytest.approx(expected, abs=3e-3)
    assert not one_sided.seen


def test_the_interval_counts_the_room_of_the_rest():
    """Two values, cost (v a - b)^2 + u^2 + v^2 with a = 3 e^u, b = 2 + u: against the sum over a plane of both."""
    def parts(u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return 9 * np.exp(2 * u), 2 + u

    fine, other = np.linspace(-4, 3, 2001), np.linspace(-6, 6, 1501)[:, None]
    steep, b = parts(fine)
    plane = np.exp(-((other * np.sqrt(steep) - b) ** 2 + fine**2 + other**2) / 2)
    u = np.array([-4, -2.5, -1.5, -0.75, 0, 0.75, 1.5, 3])
    steep, b = parts(u)
    cost, slope = b**2 / (steep + 1) + u**2, 2 * b / (steep + 1) - 2 * b**2 * steep / (steep + 1) ** 2 + 2 * u
    expected = quantiles(fine, plane.sum(axis=0))
    assert curve(u, cost, slope, -np.log(steep + 1) / 2).interval() == pytest.approx(expected, abs=0.03)
    assert curve(u, cost, slope).interval() != pytest.approx(expected, abs=0.2)


def test_a_wild_slope_far_away_makes_no_valley():
    """A cubic through 4 and 440 with the slopes 10 and 3,000 would swing far below both."""
    u = np.array([-1.0, 0.0, 1.0, 1.5, 2.4])
    wild = curve(u, np.array([4.0, 0.0, 4.0, 9.0, 440.0]), np.array([-8.0, 0.0, 8.0, 12.0, 3000.0]))
    assert wild.interval()[1] < 1.2


def test_names_and_their_short_forms():
    case = load(CASES / "rumble-bench.toml")
    assert chosen(case, ["nose.length", "ports.rear.diameter"]) == ["ports.nose.length", "ports.rear.diameter"]
    assert chosen(case, ["nose.*"]) == ["ports.nose.length", "ports.nose.diameter"]
    assert set(chosen(case, ["driver.*"])) == {
        n for n, p in parameters(case).items() if p.kind == "driver" and n.startswith("driver.")
    }  # fmt: skip
    assert chosen(case, ["main.leak.diameter"]) == ["chambers.main.leak.diameter"]
    assert chosen(case, ["nose.from_at[1]"]) == ["ports.nose.from_at[1]"]
    with pytest.raises(CaseError, match=r'"noze.length".*"nose.length" is the nearest'):
        chosen(case, ["noze.length"])
    with pytest.raises(CaseError, match="names several values"):
        chosen(case, ["length"])


def test_widths_follow_their_rules():
    booth, bench = load(CASES / "ticket-booth.toml"), load(CASES / "rumble-bench.toml")
    known = possible(booth)
    assert width(known["ports.vent.length"]) == 1e-3
    assert width(known["driver.fs"]) == pytest.approx(0.05 * 58)
    assert width(known["chambers.box.volume"]) == pytest.approx(np.sqrt(3) * 0.2**2 * 1e-3)
    sides = [p for n, p in possible(bench).items() if n.startswith("chambers.main.size")]
    whole = np.prod([p.value for p in sides])
    assert np.sqrt(sum((whole / p.value * width(p)) ** 2 for p in sides)) == pytest.approx(
        np.sqrt(3) * np.cbrt(whole) ** 2 * 1e-3, rel=0.02
    )  # the cube's rule is about that of a box's sides
    assert stated_width(booth, known["ports.vent.length"], "3 mm") == pytest.approx(3e-3)
    assert stated_width(booth, known["driver.Qms"], "10 %") == pytest.approx(0.39)
    for wrong in ("3", "much", "-1 mm", "0 %", "nan %"):
        with pytest.raises(CaseError, match=r"vent.length=.*how far it may be off"):
            stated_width(booth, known["ports.vent.length"], wrong)


def test_a_scaled_value_stays_positive_and_its_error_scales():
    one = Free(parameter=possible(load(CASES / "ticket-booth.toml"))["ports.vent.length"], width=2e-3)
    assert one.value(-1000) > 0
    assert one.value(1) - one.value(0) == pytest.approx(2e-3, rel=0.01)
    assert one.spread(0.0, 0.5) == pytest.approx(1e-3)


def test_a_bench_that_noisy_does_not_exist():
    """Twenty points of noise as large as a curve: no rule of scatter helps, its size does."""
    assert residual(0.5 * CHANCE.standard_normal(20)).structural
