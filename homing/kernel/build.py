"""The compiler decorators of this package: their cache follows the text of every kernel file."""

from __future__ import annotations

from pathlib import Path

import sensor_models.response_kernel
from sensor_models.compiled import compiler

#: Every file that a kernel of this package may be built from.
SOURCES = (*sorted(Path(__file__).parent.glob("*.py")), Path(sensor_models.response_kernel.__file__))
compiled = compiler(*SOURCES)
#: For what is called at every step of the plant: a call with its references costs more than the work.
inlined = compiler(*SOURCES, inlined=True)
