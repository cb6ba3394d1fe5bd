"""Time and memory of a piece of Python, run in a process of its own so that its peak memory is its own."""

import json
import subprocess
import sys
from dataclasses import dataclass

PROGRAM = """
import json, sys, time
begin = time.perf_counter()
{work}
took = time.perf_counter() - begin
# Not ru_maxrss, which a process inherits from the one that started it.
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps([rows, took, time.process_time(), int(peak.split()[1]) / 1024]))
"""


@dataclass(frozen=True)
class Measured:
    """``cpu_s`` counts all threads; imports are included in both times."""

    rows: int
    wall_s: float
    cpu_s: float
    peak_mib: float

    def __str__(self):
        return f"{self.wall_s:.1f} s ({self.cpu_s:.1f} s of processor), {self.peak_mib:.0f} MiB"


def measure(argument, work):
    """Run ``work``, which finds ``argument`` in ``sys.argv[1]`` and sets ``rows``."""
    run = [sys.executable, "-c", PROGRAM.format(work=work), str(argument)]
    done = subprocess.run(run, capture_output=True, text=True, check=True)
    return Measured(*json.loads(done.stdout))
