"""Loaded by Python itself in the commands that tests start: they stay on this computer too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from loopback import forbid_outside

sys.path.pop(0)

forbid_outside(lambda host: sys.stderr.write(f"guard: tried to reach {host}\n") and None)
