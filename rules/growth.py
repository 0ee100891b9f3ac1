"""The growth that a published model predicts from a course of temperatures.

Baranyi: dlnN/dt = mu q/(1 + q) and dq/dt = mu q, so that with A the integral of mu the
growth is log10((1 + q0 exp A)/(1 + q0)); with no lag it is A/ln 10, which is never
less.  A rate is worked out once per distinct integer temperature, in decimal, and kept
whole, so that A does not depend on order.

Units: ``_mc`` thousandths of a degree Celsius; ``_e9`` thousand-millionths of one ln
unit per hour; ``_e9ms`` those times milliseconds; ``_mlog10`` thousandths of a decade.

Source: ``rules.standards.growth``.
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache, partial

from rules.standards.cooling import ProductFacts
from rules.standards.growth import (
    BINDS,
    BINDS_MORE,
    GROWTH_MODELS,
    Cardinal,
    SquareRoot,
)

HOUR_MS = 3_600_000
E9 = 1_000_000_000
_CONTEXT = Context(prec=30, rounding=ROUND_HALF_EVEN)
_LN_10 = _CONTEXT.ln(Decimal(10))
# exp of more has no use: growth is then that of no lag, a thousand decades and more.
_MOST_LN = Decimal(2_000)


@lru_cache(maxsize=1 << 16)
def rate_e9(name: str, at_mc: int) -> int:
    """The rate at a temperature by the model of this name, never negative."""
    model = GROWTH_MODELS[name]
    at_c = Decimal(at_mc) / 1000
    highest_c = model.rate.tmax_c if model.none_above_c is None else model.none_above_c
    if not model.rate.tmin_c < at_c <= highest_c:
        return 0
    if isinstance(model.rate, SquareRoot):
        rate = _square_root(model.rate, at_c)
    else:
        rate = _cardinal(model.rate, at_c)
    return int(_CONTEXT.multiply(rate, Decimal(E9)).to_integral_value())


def _square_root(rate: SquareRoot, at_c: Decimal) -> Decimal:
    ctx = _CONTEXT
    above = at_c - rate.tmin_c
    falls = 1 - ctx.exp(ctx.multiply(rate.b, at_c - rate.tmax_c))
    return ctx.multiply(ctx.multiply(above, above), ctx.multiply(falls, rate.scale))


def _cardinal(rate: Cardinal, at_c: Decimal) -> Decimal:
    ctx = _CONTEXT
    above, span = at_c - rate.tmin_c, rate.topt_c - rate.tmin_c
    top = ctx.multiply(ctx.multiply(above, above), at_c - rate.tmax_c)
    rises = ctx.multiply(span, at_c - rate.topt_c)
    turns = rate.topt_c + rate.tmin_c - 2 * at_c
    falls = ctx.multiply(rate.topt_c - rate.tmax_c, turns)
    part = ctx.divide(top, ctx.multiply(span, rises - falls))
    return ctx.multiply(rate.mu_opt, part)


@lru_cache(maxsize=8)
def fastest_mc(name: str) -> int:
    """The temperature at which the model's rate is the highest."""
    rate = GROWTH_MODELS[name].rate
    low, high = int(rate.tmin_c * 1000), int(rate.tmax_c * 1000)
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


def lacking(name: str, facts: ProductFacts) -> str:
    """What the model would have to know of the product, in words; "" for nothing."""
    medium = GROWTH_MODELS[name].medium
    if medium is None:
        return ""
    for what, milli, (low, high) in (
        ("pH", facts.ph_milli, medium.ph_milli),
        ("salt in percent", facts.salt_percent_milli, medium.salt_percent_milli),
    ):
        holds = f"the model holds for {low / 1000:g} to {high / 1000:g}"
        if milli is None:
            return f"the product's {what} is not known; {holds}"
        if not low <= milli <= high:
            return f"the product's {what} is {milli / 1000:g}; {holds}"
    return ""


@lru_cache(maxsize=64)
def medium_e9(name: str, ph_milli: int, salt_percent_milli: int) -> int:
    """What the product's acidity and salt make of the rate, a factor times 1e9."""
    medium, ctx = GROWTH_MODELS[name].medium, _CONTEXT
    if medium is None:
        return E9
    salt = Decimal(salt_percent_milli) / 1000
    bound = ctx.multiply(salt, BINDS + ctx.multiply(salt, BINDS_MORE))
    above, below = 1 - medium.aw_min - bound / 1000, 1 - medium.aw_min + bound / 1000
    acid = Decimal(ph_milli) / 1000 - medium.ph_min
    factor = ctx.multiply(ctx.multiply(above, below), acid)
    return int(ctx.multiply(factor, Decimal(E9)).to_integral_value())


def growth_mlog10(name: str, sum_e9ms: int, factor_e9: int = E9) -> int:
    """The predicted growth, to the nearest thousandth of a decade."""
    ctx, q0 = _CONTEXT, GROWTH_MODELS[name].q0
    sum_e9ms = sum_e9ms * factor_e9 // E9
    ln = min(ctx.divide(Decimal(sum_e9ms), Decimal(HOUR_MS * E9)), _MOST_LN)
    if q0 is None:
        decades = ctx.divide(ln, _LN_10)
    else:
        decades = ctx.log10(ctx.divide(1 + ctx.multiply(q0, ctx.exp(ln)), 1 + q0))
    return int((decades * 1000).to_integral_value())
