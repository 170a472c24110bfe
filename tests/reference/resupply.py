"""Demand of parts that fail at random, by Fourier transform on a fine lattice.

Reads one JSON list of cases from standard input, writes the list of answers. A case has parts, days
and amounts in grams. A part has failures a day, the shape of that rate's gamma distribution (0: the
rate is known), mean and spread of what one failure takes in grams. An answer has mean and spread, what
is enough in half, 80, 95 and 99 of 100 cases, and for each amount the chance that it is enough and the
mean of what it falls short by.
"""

import json
import sys

import numpy as np
from scipy.stats import gamma

STEP = 5.0
CELLS = 2**17
AMOUNTS = np.arange(CELLS) * STEP


def transform_of_size(mean, sd):
    chances = np.zeros(CELLS)
    if sd == 0:
        chances[round(mean / STEP)] = 1
    else:
        # Each cell has the mass around its amount.
        ends = gamma.cdf(AMOUNTS + STEP / 2, (mean / sd) ** 2, scale=sd**2 / mean)
        chances[:] = np.diff(ends, prepend=0)
    return np.fft.rfft(chances)


def transform(rate, shape, mean, sd, days):
    failures, size = rate * days, transform_of_size(mean, sd)
    if shape == 0:
        return np.exp(failures * (size - 1))
    return (1 - failures / shape * (size - 1)) ** -shape


def answer(parts, days, amounts):
    product = np.prod([transform(*part, days) for part in parts], axis=0)
    chances = np.fft.irfft(product, CELLS)
    up_to = np.cumsum(chances)
    mean = chances @ AMOUNTS
    spread = np.sqrt(chances @ (AMOUNTS - mean) ** 2)
    enough = [AMOUNTS[np.searchsorted(up_to, share)] for share in (0.5, 0.8, 0.95, 0.99)]
    within = [up_to[int(amount / STEP)] for amount in amounts]
    short = [chances @ np.maximum(AMOUNTS - amount, 0) for amount in amounts]
    return [mean, spread, enough, within, short]


json.dump([answer(*case) for case in json.load(sys.stdin)], sys.stdout)
