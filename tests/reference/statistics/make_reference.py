"""Writes the made-up inputs beside this file and the reference values for them, expected.csv.

Run:  python -m venv venv && venv/bin/pip install -r requirements.txt && venv/bin/python make_reference.py
Each value names the program it comes from. The inputs are drawn from a fixed seed.
"""

import csv
import pathlib

import autograd.numpy as anp
import lifelines
import numpy as np
from autograd import grad, hessian
from scipy import optimize, special, stats
from sksurv.metrics import brier_score, concordance_index_censored, concordance_index_ipcw
from statsmodels.discrete.discrete_model import NegativeBinomial
from statsmodels.duration.survfunc import survdiff
from statsmodels.stats.proportion import proportion_confint

HERE = pathlib.Path(__file__).parent
RANDOM = np.random.default_rng(20240611)
EXPECTED = []


def expect(name, value):
    EXPECTED.append((name, float(value)))


def write(name, header, rows):
    with open(HERE / name, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def interval_weibull():
    """Weibull with interval censoring and late entry: Newton on the autograd gradient of the
    log-likelihood, from the lifelines fit; lifelines itself agrees to about 1e-5."""
    rows = []
    for unit in range(80):
        entry = round(float(RANDOM.choice([0.0, 0.0, 6.0, 12.0])), 1)
        while True:
            life = 40.0 * RANDOM.weibull(2.2)
            if life > entry:
                break
        visits = np.arange(entry + RANDOM.uniform(2, 9), 48.0, 9.0).round(1)
        before = [entry, *visits[visits < life]]
        after = visits[visits >= life]
        if unit % 8 == 7 and len(after):
            rows.append((entry, round(life, 2), round(life, 2)))
        else:
            rows.append((entry, before[-1], after[0] if len(after) else "inf"))
    rows = [row for row in rows if not (row[2] == "inf" and row[1] <= row[0])]
    write("interval_lives.csv", ["entry", "alive_at", "failed_by"], rows)
    entry, low, high = (np.array([float(row[k]) for row in rows]) for k in range(3))
    exact, censored = low == high, np.isinf(high)
    between = ~exact & ~censored

    def minus(theta):
        mu, s = theta
        shape = anp.exp(-s)
        hazard = lambda t: anp.where(t > 0, anp.exp((anp.log(anp.where(t > 0, t, 1.0)) - mu) * shape), 0.0)
        total = anp.sum(hazard(entry))
        t = low[exact]
        total = total + anp.sum(-s - mu + (1 - anp.exp(s)) * (anp.log(t) - mu) * shape - hazard(t))
        total = total - anp.sum(hazard(low[censored]))
        total = total + anp.sum(anp.log(anp.exp(-hazard(low[between])) - anp.exp(-hazard(high[between]))))
        return -total

    fitter = lifelines.WeibullFitter().fit_interval_censoring(low, high, entry=entry)
    theta = np.array([np.log(fitter.lambda_), -np.log(fitter.rho_)])
    slope, curve = grad(minus), hessian(minus)
    for _ in range(20):
        theta = theta - np.linalg.solve(curve(theta), slope(theta))
    assert abs(np.exp(theta[0]) / fitter.lambda_ - 1) < 1e-4, (theta, fitter.lambda_)
    covariance = np.linalg.inv(curve(theta))
    expect("interval weibull shape", np.exp(-theta[1]))
    expect("interval weibull scale", np.exp(theta[0]))
    expect("interval weibull log-likelihood", -minus(theta))
    expect("interval weibull ln scale variance", covariance[0, 0])
    expect("interval weibull ln sigma variance", covariance[1, 1])
    expect("interval weibull covariance", covariance[0, 1])


def turnbull():
    """The same lives without their late entries: plain self-consistency in numpy, run until the
    log-likelihood is proved to be within 1e-7 of its maximum (the greatest derivative less n)."""
    rows = list(csv.DictReader(open(HERE / "interval_lives.csv")))
    low = np.array([float(row["alive_at"]) for row in rows])
    high = np.array([float(row["failed_by"]) for row in rows])
    low = np.where(low == high, low - 1e-6, low)
    ends = sorted([(value, 1) for value in low] + [(value, 0) for value in high])
    cells = [(a[0], b[0]) for a, b in zip(ends, ends[1:]) if a[1] == 1 and b[1] == 0]
    covers = np.array([[l <= a and b <= h for a, b in cells] for l, h in zip(low, high)], float)
    chance = np.full(len(cells), 1 / len(cells))
    for _ in range(400_000):
        own = covers @ chance
        chance = chance * (covers.T @ (1 / own)) / len(low)
    gap = (covers.T @ (1 / (covers @ chance))).max() - len(low)
    assert gap < 1e-7, gap
    expect("turnbull log-likelihood", np.log(covers @ chance).sum())
    survival = 1.0
    for (_, to), own in zip(cells, chance):
        survival -= own
        if own > 1e-8 and np.isfinite(to):
            expect(f"turnbull survival after {to:.2f}", survival)


def aalen_johansen():
    """lifelines AalenJohansenFitter, ages without ties, with its variance."""
    rows = []
    for age in np.sort(RANDOM.uniform(1, 60, 60)).round(3):
        rows.append((age, int(RANDOM.choice([0, 1, 2], p=[0.3, 0.45, 0.25]))))
    write("competing_lives.csv", ["exit", "cause"], rows)
    age, cause = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    for own in (1, 2):
        fitter = lifelines.AalenJohansenFitter(calculate_variance=True).fit(age, cause, event_of_interest=own)
        for at in (10, 20, 30, 40, 50):
            incidence = fitter.cumulative_density_.loc[:at].iloc[-1, 0]
            expect(f"incidence of cause {own} at {at}", incidence)
            expect(f"incidence variance of cause {own} at {at}", fitter.variance_.loc[:at].iloc[-1])


def log_rank():
    """statsmodels survdiff: three groups, two strata."""
    rows = []
    for unit in range(120):
        stratum, group = unit % 2, unit % 3
        life = RANDOM.weibull(1.5) * (20 + 6 * group + 10 * stratum)
        lost = RANDOM.uniform(5, 45)
        rows.append((stratum, group, round(min(life, lost), 1) + 0.1, int(life <= lost)))
    rows = [(s, g, round(t, 1), e) for s, g, t, e in rows]
    write("grouped_lives.csv", ["stratum", "group", "exit", "failed"], rows)
    stratum, group, time, event = (np.array([row[k] for row in rows]) for k in range(4))
    chi, p = survdiff(time, event, group)
    expect("log-rank chi-square", chi)
    expect("log-rank p", p)
    chi, p = survdiff(time, event, group, strata=stratum)
    expect("stratified log-rank chi-square", chi)
    expect("stratified log-rank p", p)


def predictions():
    """scikit-survival: Harrell's C, Uno's C, Brier score, on times without ties."""
    rows = []
    for _ in range(150):
        score = RANDOM.normal()
        life = RANDOM.weibull(1.4) * 30 * np.exp(-0.7 * score)
        lost = RANDOM.uniform(5, 60)
        chance = float(np.clip(1 / (1 + np.exp(-(score - 0.5 + 0.3 * RANDOM.normal()))), 0.02, 0.98))
        rows.append((round(chance, 4), round(min(life, lost), 4) + 0.001, int(life <= lost)))
    rows = [(p, round(t, 4), e) for p, t, e in rows]
    write("predictions.csv", ["chance", "time", "failed"], rows)
    chance, time, event = (np.array([row[k] for row in rows], float) for k in range(3))
    assert len(set(time)) == len(time)
    seen = np.array(list(zip(event.astype(bool), time)), dtype=[("event", bool), ("time", float)])
    c, concordant, discordant, tied, _ = concordance_index_censored(event.astype(bool), time, chance)
    for name, value in [("c", c), ("concordant", concordant), ("discordant", discordant), ("tied", tied)]:
        expect(f"harrell {name}", value)
    expect("uno c until 25", concordance_index_ipcw(seen, seen, chance, tau=25.0)[0])
    expect("brier at 20", brier_score(seen, seen, (1 - chance)[:, None], [20.0])[1][0])


def counts():
    """statsmodels NegativeBinomial (NB2), and scipy on the gamma-Poisson marginal with exposures."""
    rows = [(int(RANDOM.negative_binomial(1.3, 1.3 / (1.3 + 0.02 * e))), round(e, 1))
            for e in RANDOM.uniform(20, 400, 60)]
    write("counts.csv", ["count", "exposure"], rows)
    count, exposure = (np.array([row[k] for row in rows], float) for k in range(2))
    fit = NegativeBinomial(count, np.ones((len(count), 1))).fit(disp=0, method="newton", maxiter=200, tol=1e-12)
    expect("negative binomial mean", np.exp(fit.params[0]))
    expect("negative binomial size", 1 / fit.params[1])
    expect("negative binomial log-likelihood", fit.llf)

    def minus(theta):
        mean, size = np.exp(theta)
        return -stats.nbinom.logpmf(count, size, size / (size + mean * exposure)).sum()

    def slope(theta):
        mean, size = np.exp(theta)
        expected = mean * exposure
        by_mean = (size * (count - expected) / (size + expected)).sum()
        by_size = size * (special.digamma(size + count) - special.digamma(size) + np.log(size / (size + expected))
                          + (expected - count) / (size + expected)).sum()
        return [by_mean, by_size]

    start = optimize.minimize(minus, [np.log(count.sum() / exposure.sum()), 0.0], method="Nelder-Mead").x
    theta = optimize.root(slope, start, tol=1e-14).x
    mean, size = np.exp(theta)
    expect("gamma-poisson mean", mean)
    expect("gamma-poisson size", size)
    expect("gamma-poisson log-likelihood", -minus(theta))
    shape, rate = count[0] + size, exposure[0] + size / mean
    expect("shrunk rate of unit 0", shape / rate)
    expect("shrunk lower of unit 0", stats.gamma.ppf(0.025, shape) / rate)
    expect("shrunk upper of unit 0", stats.gamma.ppf(0.975, shape) / rate)


def rate_changes():
    """scipy binomtest and statsmodels Clopper-Pearson limits turned into a ratio."""
    cases = [(4, 100.0, 6, 900.0), (0, 50.0, 9, 400.0), (3, 120.0, 0, 500.0), (40, 1000.0, 210, 8000.0),
             (1, 300.0, 12, 800.0), (100000, 1e6, 300700, 3e6)]
    for latest, exposure, before, before_exposure in cases:
        total, share = latest + before, exposure / (exposure + before_exposure)
        name = f"rate change {latest}/{exposure:g} after {before}/{before_exposure:g}"
        expect(f"{name} p", stats.binomtest(latest, total, share).pvalue)
        low, high = proportion_confint(latest, total, method="beta")
        ratio = lambda s: s / (1 - s) * before_exposure / exposure
        expect(f"{name} lower", ratio(low) if latest else 0.0)
        expect(f"{name} upper", ratio(high) if before else np.inf)


def funnel():
    """The interpolated exact limits of Spiegelhalter 2005 with scipy's Poisson."""
    for expected in (0.5, 3.0, 20.0, 400.0, 1e5):
        for tail, side in ((0.025, "lower"), (0.975, "upper")):
            r = stats.poisson.ppf(tail, expected)
            limit = r - (stats.poisson.cdf(r, expected) - tail) / stats.poisson.pmf(r, expected)
            expect(f"funnel {side} at {expected:g}", max(limit, 0.0))


def late_competing_ends():
    """lifelines AalenJohansenFitter with late entry, no two ages alike."""
    rows = []
    for unit in range(90):
        entry = round(float(RANDOM.uniform(0, 25)) * (unit % 3 > 0), 3)
        exit_ = round(entry + 0.5 + 30 * RANDOM.weibull(1.6), 3)
        rows.append((entry, exit_, int(RANDOM.choice([0, 1, 2], p=[0.3, 0.45, 0.25]))))
    assert len({age for row in rows for age in row[:2] if age}) == len(rows) + sum(row[0] > 0 for row in rows)
    write("late_competing_lives.csv", ["entry", "exit", "cause"], rows)
    entry, age, cause = (np.array([row[k] for row in rows]) for k in range(3))
    for own in (1, 2):
        fitter = lifelines.AalenJohansenFitter(calculate_variance=True)
        fitter.fit(age, cause, event_of_interest=own, entry=entry)
        for at in (5, 10, 20, 30, 40):
            expect(f"late incidence of cause {own} at {at}", fitter.cumulative_density_.loc[:at].iloc[-1, 0])
            expect(f"late incidence variance of cause {own} at {at}", fitter.variance_.loc[:at].iloc[-1])


def main():
    interval_weibull()
    turnbull()
    aalen_johansen()
    log_rank()
    predictions()
    counts()
    rate_changes()
    funnel()
    late_competing_ends()
    write("expected.csv", ["name", "value"], [(name, repr(value)) for name, value in EXPECTED])


if __name__ == "__main__":
    main()
