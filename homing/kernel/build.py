"""The compiler decorator of this package: its cache follows the text of every kernel file."""

from __future__ import annotations

from pathlib import Path

import sensor_models.response_kernel
from sensor_models.compiled import compiler

compiled = compiler(*Path(__file__).parent.glob("*.py"), Path(sensor_models.response_kernel.__file__))
