"""How long `weldtrial analyse` takes on the example, against importing `statsmodels.api`.

Run by hand: ``python tests/benchmarks/bench_analyse.py``.  Both are fresh processes in the same
run, the best of several; the ratio is the point (aim: 1.5), never a timed assertion.

The aim is for readings that are numbers. Two of the example's three responses went past their
gauge, and each is fitted and profiled many times over: measured 5.3 s of processor time against
1.6 s for the import (2.3 s for the example before it had limits), on two busy cores.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

REPEATS = 5


def best(command: list[str], **options: object) -> float:
    """Return the shortest wall time of a command in seconds."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True, **options)  # type: ignore[call-overload]
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print both times and their ratio."""
    weldtrial = [sys.executable, "-m", "weldtrial.cli.main"]
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [*weldtrial, "new", "drawbar", "--example", "drawbar-gas"],
            check=True,
            capture_output=True,
            cwd=folder,
        )
        example = Path(folder) / "drawbar"
        subprocess.run(
            [*weldtrial, "-C", str(example), "analyse", "--open"], check=True, capture_output=True
        )
        ours = best([*weldtrial, "-C", str(example), "analyse"])
    baseline = best([sys.executable, "-c", "import statsmodels.api"])
    sys.stdout.write(f"analyse on the example   {ours:.2f} s\n")
    sys.stdout.write(f"import statsmodels.api   {baseline:.2f} s\n")
    sys.stdout.write(f"ratio                    {ours / baseline:.2f}\n")


if __name__ == "__main__":
    main()
