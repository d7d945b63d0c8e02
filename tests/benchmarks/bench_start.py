"""How much processor time `rungwise --help` takes, as a multiple of Python's own start.

python -m tests.benchmarks.bench_start
"""

from __future__ import annotations

import resource
import subprocess
import sys

ROUNDS = 10


def seconds(*words: str) -> float:
    """Return the least processor time of a child process in several tries."""
    least = float("inf")
    for _ in range(ROUNDS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        least = min(least, used)
    return least


def main() -> None:
    """Print both and their ratio."""
    bare = seconds("-c", "pass")
    helped = seconds("-m", "renderer", "--help")
    print(f"bare Python {bare:.3f} s of processor time, help {helped:.3f} s")
    print(f"help takes {helped / bare:.1f} times as long")


if __name__ == "__main__":
    main()
