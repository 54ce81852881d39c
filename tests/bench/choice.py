"""
Time of choosing kits: `python -m tests.bench.choice [HYDRANTS [LOOPED]]`.

Beside it a plain loop over hydrants and lengths, of so many of the same hydrants, held against it
one by one.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

from hydrantgis.assess.options import choose_kit
from hydrantgis.assess.remedy import remedies_of_family
from hydrantgis.standards.load import load_kits, load_rule

CHOICE = "kits for {n:,} hydrants of 8 lengths"


def plain(y: float, e: float, lengths: list[float]) -> float:
    """The raise of one hydrant under NFPA 24, one extension, 48 in in all."""
    best, raised = np.inf, np.nan
    for length in (0.0, *lengths):
        after = round(y + length - e, 2)
        if length != e and length <= 48 and 18 <= after <= 36 and abs(after - 27) < best:
            best, raised = abs(after - 27), length - e
    return raised


def main(n: int = 1_000_000, looped: int = 50_000) -> None:
    rng = np.random.default_rng(1)
    y, f = rng.normal(14, 9, n).round(2), rng.normal(2, 3, n).round(2)
    e = np.where(rng.random(n) < 0.1, 6.0, 0.0)
    rule, kits = load_rule("nfpa24-2019"), load_kits("generic")
    family = kits.families[0]
    lengths = [kit.length_in for kit in family.kits]

    start = time.perf_counter()
    _, raises = choose_kit(y, f, e, lengths, rule=rule, house=kits.house)
    chosen = time.perf_counter() - start
    start = time.perf_counter()
    remedies_of_family(y, f, e, family=family, rule=rule, house=kits.house, bury_step_in=6.0)
    told = time.perf_counter() - start
    start = time.perf_counter()
    by_loop = [plain(*row, lengths) for row in zip(y[:looped], e, strict=False)]
    loop = (time.perf_counter() - start) * n / looped
    np.testing.assert_array_equal(raises[:looped], by_loop)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{CHOICE.format(n=n)}: {chosen:.2f} s, with reasons {told:.2f} s, {peak:,.0f} MB;")
    print(f"a plain loop {loop:.1f} s (from {looped:,}, all alike): {loop / chosen:.0f} times that")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
