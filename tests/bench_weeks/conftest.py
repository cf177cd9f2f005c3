"""Helpers beside the tests are importable by name."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
