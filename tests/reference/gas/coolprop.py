"""Answers questions about gas with CoolProp's reference equations, and about beta with scipy.

Reads one JSON list of questions from standard input, writes the list of answers.
"""

import json
import sys
from math import sqrt

from CoolProp.CoolProp import (
    AbstractState,
    DmassT_INPUTS,
    PT_INPUTS,
    PSmass_INPUTS,
)
from scipy.optimize import minimize_scalar
from scipy.stats import beta

NAMES = {"nitrogen": "Nitrogen", "helium": "Helium", "argon": "Argon", "air": "Air"}


def state(gas, bar, c):
    fluid = AbstractState("HEOS", NAMES[gas])
    fluid.update(PT_INPUTS, bar * 1e5, c + 273.15)
    return fluid


def density(gas, bar, c):
    return state(gas, bar, c).rhomass()


def drawn_fast(gas, bar, c, floor):
    """Density at rest less that at the floor on the same isentrope, in kg/m3."""
    fluid = state(gas, bar, c)
    full = fluid.rhomass()
    fluid.update(PSmass_INPUTS, floor * 1e5, fluid.smass())
    return full - fluid.rhomass()


def drawn_at(gas, bar, c, floor, pace):
    """The same if the rest keeps this share of its cooling: bisection over where the isentrope ends."""
    fluid = state(gas, bar, c)
    full, entropy, warm = fluid.rhomass(), fluid.smass(), c + 273.15
    low, high = 0.05 * floor, floor
    for _ in range(50):
        end = (low + high) / 2
        fluid.update(PSmass_INPUTS, end * 1e5, entropy)
        left = fluid.rhomass()
        fluid.update(DmassT_INPUTS, left, warm - pace * (warm - fluid.T()))
        if fluid.p() < floor * 1e5:
            low = end
        else:
            high = end
    return full - left


def from_bank(gas, bank, c, bar, to_c):
    return state(gas, bar, to_c).hmass() - state(gas, bank, c).hmass()


def enthalpy_rise(gas, bar, from_c, to_c):
    return state(gas, bar, to_c).hmass() - state(gas, bar, from_c).hmass()


def critical_flux(gas, bar, c):
    """The largest rho v over all pressures on the isentrope from rest, in kg/(m2 s)."""
    fluid = state(gas, bar, c)
    h0, s0 = fluid.hmass(), fluid.smass()

    def minus_flux(share):
        fluid.update(PSmass_INPUTS, share * bar * 1e5, s0)
        return -fluid.rhomass() * sqrt(2 * max(h0 - fluid.hmass(), 0.0))

    best = minimize_scalar(minus_flux, bounds=(0.3, 0.8), method="bounded", options={"xatol": 1e-7})
    return -best.fun


def beta_quantile(mean, sd, share):
    total = mean * (1 - mean) / sd**2 - 1
    return beta.ppf(share, mean * total, (1 - mean) * total)


ANSWERS = {f.__name__: f for f in (density, drawn_fast, drawn_at, from_bank, enthalpy_rise, critical_flux, beta_quantile)}
json.dump([ANSWERS[name](*given) for name, *given in json.load(sys.stdin)], sys.stdout)
