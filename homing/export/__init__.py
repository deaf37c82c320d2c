"""Settings and routine for the robot: as a table, as JSON, or as a program without dependencies.

::

    Lift -> Setting (the table that verify judges)
        | origins.py, builtin_origins.py: every number with unit and origin
        | described.py: readable table, JSON
        | program.py -> render.py + templates/: Java, C++, Python; neutral.py says once what
        v                                       conditions and effects do, language.py how to spell it
    text

Every program takes the same decision as the kernel, loop for loop, bit for bit.
"""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting


class Form(Enum):
    """What can be exported."""

    TABLE = "table"
    JSON = "json"
    JAVA = "java"
    CPP = "cpp"
    PYTHON = "python"

    @property
    def suffixes(self) -> tuple[str, ...]:
        """Ends of file names that a compiler or reader expects; the first is the usual one."""
        return {
            Form.TABLE: (".txt",),
            Form.JSON: (".json",),
            Form.JAVA: (".java",),
            Form.CPP: (".hpp", ".h"),
            Form.PYTHON: (".py",),
        }[self]

    @property
    def usual_name(self) -> str:
        """Name of the Java class, C++ namespace or Python module where no file gives one."""
        return "LiftRoutine" if self is Form.JAVA else "lift_routine"


def exported(lift: Lift, form: Form, name: str | None = None) -> str:
    """Settings and routine of a lift as text.

    Parameters
    ----------
    lift : Lift
    form : Form
        What to write.
    name : str, optional
        Name of the Java class or C++ namespace.

    Returns
    -------
    str
        ASCII for the programs, else Unicode; ends in a line break.

    Raises
    ------
    InputError
        When the routine's sensor is never made on the nominal lift.
    """
    from homing.setting import prepare

    return exported_setting(prepare(lift), form, name)


def exported_setting(setting: Setting, form: Form, name: str | None = None) -> str:
    """As ``exported``, for a setting that is at hand; its table is what is written."""
    if form is Form.TABLE:
        from homing.export.described import table_text

        return table_text(setting)
    if form is Form.JSON:
        from homing.export.described import json_document
        from homing.report.jsonform import to_text

        return to_text(json_document(setting))
    from homing.export.render import source_text

    return source_text(setting, form.value, name if name is not None else form.usual_name)
