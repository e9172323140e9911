"""The order of a gauge study: every reader's every sheet in an order of its own.

Drawn from the fingerprint of ``[gauge]``, so that nobody picked it and anyone can draw it again;
a gauge study is not sealed, because nothing is compared in it that could be wished for.
"""

from __future__ import annotations

from typing import Any

from weldtrial.doe.draw import Draw, draw_key
from weldtrial.doe.stamps import stamps
from weldtrial.shared.canonical import fingerprint
from weldtrial.shared.gauge import Gauge, GaugeOrder, Task


def gauge_order(gauge: Gauge) -> GaugeOrder:
    """Return the drawn order: sheet by sheet for each reader, coupons shuffled anew on each.

    Parameters
    ----------
    gauge
        The layout asked for; nothing else enters the draw, so a title may be mended later.
    """
    plain: dict[str, Any] = {
        "coupons": list(gauge.names) or gauge.coupons,
        "readers": list(gauge.readers),
        "repeats": gauge.repeats,
        "design": gauge.design,
    }
    seal = fingerprint({"gauge": plain})
    draw = Draw(draw_key(seal))
    # Stamps stay the same when a reader, a repeat or a coupon is added: they are on plates by then.
    coupons = gauge.names or stamps(Draw(draw_key(fingerprint("gauge stamps"))), gauge.coupons)
    tasks: list[Task] = []
    for place, reader in enumerate(gauge.readers):
        start = place * gauge.per_reader
        nested = gauge.design == "nested"
        own = coupons[start : start + gauge.per_reader] if nested else coupons
        for repeat in range(1, gauge.repeats + 1):
            order = draw.child(f"gauge reader {place} sheet {repeat}").shuffle(own)
            tasks += [Task(reader, repeat, at, one) for at, one in enumerate(order, start=1)]
    return GaugeOrder(seal[:8].upper(), tuple(sorted(coupons)), tuple(tasks))
