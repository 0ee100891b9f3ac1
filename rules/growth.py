"""The growth that a published model predicts from a course of temperatures.

Baranyi: dlnN/dt = mu q/(1 + q) and dq/dt = mu q, so that with A the integral of mu the
growth is log10((1 + q0 exp A)/(1 + q0)).  A rate is worked out once per distinct
integer temperature, in decimal, and kept whole, so that A does not depend on order.

Units: ``_mc`` thousandths of a degree Celsius; ``_e9`` thousand-millionths of one ln
unit per hour; ``_e9ms`` those times milliseconds; ``_mlog10`` thousandths of a decade.

Source: ``rules.standards.growth``.
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache, partial

from rules.standards.growth import GROWTH_MODELS

HOUR_MS = 3_600_000
E9 = 1_000_000_000
_CONTEXT = Context(prec=30, rounding=ROUND_HALF_EVEN)
_LN_10 = _CONTEXT.ln(Decimal(10))
# exp of more has no use: growth is then that of no lag, a thousand decades and more.
_MOST_LN = Decimal(2_000)


@lru_cache(maxsize=1 << 16)
def rate_e9(name: str, at_mc: int) -> int:
    """The rate at a temperature by the model of this name, never negative."""
    model, ctx = GROWTH_MODELS[name], _CONTEXT
    at_c = Decimal(at_mc) / 1000
    if not model.tmin_c < at_c < model.tmax_c:
        return 0
    above = ctx.multiply(model.a, at_c - model.tmin_c)
    falls = 1 - ctx.exp(ctx.multiply(model.b, at_c - model.tmax_c))
    rate = ctx.multiply(ctx.multiply(above, above), ctx.multiply(falls, _LN_10))
    return int(ctx.multiply(rate, Decimal(E9)).to_integral_value())


@lru_cache(maxsize=8)
def fastest_mc(name: str) -> int:
    """The temperature at which the model's rate is the highest."""
    model = GROWTH_MODELS[name]
    low, high = int(model.tmin_c * 1000), int(model.tmax_c * 1000)
    for step in (1_000, 50, 1):
        best = max(range(low, high, step), key=partial(rate_e9, name))
        low, high = best - step, best + step
    return best


def between_e9(name: str, low_mc: int, high_mc: int) -> tuple[int, int]:
    """The lowest and the highest rate from one temperature to another."""
    ends = (rate_e9(name, low_mc), rate_e9(name, high_mc))
    peak_mc = fastest_mc(name)
    inside = low_mc <= peak_mc <= high_mc
    return min(ends), rate_e9(name, peak_mc) if inside else max(ends)


def growth_mlog10(name: str, sum_e9ms: int) -> int:
    """The predicted growth, to the nearest thousandth of a decade."""
    ctx, q0 = _CONTEXT, GROWTH_MODELS[name].q0
    ln = min(ctx.divide(Decimal(sum_e9ms), Decimal(HOUR_MS * E9)), _MOST_LN)
    grown = ctx.divide(1 + ctx.multiply(q0, ctx.exp(ln)), 1 + q0)
    return int((ctx.log10(grown) * 1000).to_integral_value())
