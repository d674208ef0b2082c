"""Run the benchmarks of the whole way, one after the other: ``python -m tests.bench``.

Intake against ``cp`` and ``sha256sum``, reading against bare decoding, both at once against the slower
of the two, issue against fpdf2. Each is also a command of its own, with options.
"""

import subprocess
import sys

for name in ("bench_intake", "bench_read", "bench_ready", "bench_issue"):
    print(f"== {name}", flush=True)
    subprocess.run([sys.executable, "-m", f"tests.bench.{name}"], check=True)
