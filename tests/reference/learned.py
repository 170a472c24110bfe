"""What is learned from weighed builds, by plain integration over mean and variance.

Reads one JSON list of cases from standard input, writes the list of answers. A case has the
approval's mean and spread, the builds it rests on, and two groups of builds. An answer has mean
and spread of the next build after the first group, and the logarithm of the odds that the groups
differ. Nothing of the closed forms is used but the prior itself.
"""

import json
import sys

import numpy as np
from scipy.stats import invgamma, norm


class Prior:
    """The normal-inverse-gamma prior of `mean`, weight `n` and shape 1 + n / 2, on a grid."""

    def __init__(self, mean, sd, n, reach):
        shape = 1 + n / 2
        # The variance of the next build is scale / (shape - 1) (1 + 1 / n).
        scale = sd**2 * (shape - 1) * n / (n + 1)
        log_variance = np.linspace(np.log(scale) - 7, np.log(scale) + 16, 1151)
        self.variance = np.exp(log_variance)[:, None]
        spread = np.sqrt(self.variance)
        steps = np.linspace(-1, 1, 1201)[None, :]
        # Far enough out for the prior and for every build.
        self.mean = mean + steps * (reach + 12 * spread / np.sqrt(n))
        weight = invgamma.logpdf(self.variance, shape, scale=scale)
        weight = weight + norm.logpdf(self.mean, mean, spread / np.sqrt(n))
        # Of each cell: its width in the mean, and in the variance by its logarithm.
        cell = (self.mean[:, 1] - self.mean[:, 0])[:, None] * self.variance
        self.log_weight = weight + np.log(cell * (log_variance[1] - log_variance[0]))

    def log_posterior(self, builds):
        log = self.log_weight.copy()
        for build in builds:
            log += norm.logpdf(build, self.mean, np.sqrt(self.variance))
        return log

    def log_evidence(self, builds):
        log = self.log_posterior(builds)
        return log.max() + np.log(np.exp(log - log.max()).sum())

    def predicted(self, builds):
        log = self.log_posterior(builds)
        share = np.exp(log - log.max())
        share /= share.sum()
        mean = (share * self.mean).sum()
        square = (share * (self.mean**2 + self.variance)).sum()
        return mean, np.sqrt(square - mean**2)


def answer(mean, sd, n, some, others):
    prior = Prior(mean, sd, n, max(abs(build - mean) for build in some + others))
    odds = prior.log_evidence(some) + prior.log_evidence(others) - prior.log_evidence(some + others)
    return [*prior.predicted(some), odds]


json.dump([answer(*case) for case in json.load(sys.stdin)], sys.stdout)
