"""The program ``downstop``: lists its commands by dotted name and loads the one that is asked for.

So ``homing`` never imports ``replay``, and ``downstop --help`` need not load anything heavy. ``main`` is
the only place that turns errors into messages and exit codes:

    0, 1  verdict of the command
    2     input cannot be used: one sentence on standard error
    130   interrupted
    141   whoever read standard output left before the end (as for a process that gets SIGPIPE)
"""

from __future__ import annotations

import difflib
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

#: Command -> where it lives, and what it does in a line.
COMMANDS: dict[str, tuple[str, str]] = {
    "verify": (
        "homing.commands:verify",
        "Say whether a lift zeroes within its limits, and what to change if not.",
    ),
    "compare": (
        "homing.compare_commands:compare",
        "Compare sensors and mountings before drilling, and say where to mount the best one.",
    ),
    "tune": ("homing.tune_commands:tune", "Find settings that meet the requirements with the most margin."),
    "replay": ("replay.commands:replay", "Read logs of a real lift and report what is in them."),
    "fit": ("replay.fit_commands:fit", "Calibrate a lift file from logs of the real lift."),
    "review": (
        "homing.review_commands:review",
        "Find holes in the routine's table, by reading it and by trying every path.",
    ),
    "export": ("homing.export_commands:export", "Write settings and routine for the robot."),
    "new": ("homing.starter_commands:new", "Write a commented starter lift file, or say what to log."),
}

INPUT_UNUSABLE = 2
INTERRUPTED = 130
READER_LEFT = 141


class ReaderLeftError(Exception):
    """Standard output was closed at the other end (``downstop ... | head``)."""


class LazyGroup(click.Group):
    """A group that knows its commands' names and imports a command only to run it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order in which a newcomer meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(import_module(module), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Refuse an unknown command with the nearest known one."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f'did you mean "{near[0]}"?' if near else f"accepted are {', '.join(COMMANDS)}"
            raise click.UsageError(f'"{args[0]}" is not a command; {hint}')
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a closed pipe must not look like one of its verdicts, as click makes it."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise ReaderLeftError from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["--help"]})
@click.version_option(package_name="downstop", prog_name="downstop")
def cli() -> None:
    """Verify, off the robot, that a small lift comes down and stops before its end.

    Start with "downstop verify" (a built-in example), then "downstop new my_lift.toml".
    """


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code; messages are printed, nothing is raised.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; those of this process by default.
    """
    try:
        code = cli.main(
            args=None if arguments is None else list(arguments), prog_name="downstop", standalone_mode=False
        )
        sys.stdout.flush()
    except (BrokenPipeError, ReaderLeftError):
        return _reader_left()
    except (KeyboardInterrupt, click.Abort):
        click.echo("downstop: interrupted", err=True)
        return INTERRUPTED
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return INPUT_UNUSABLE
    except click.ClickException as error:
        click.echo(f"downstop: {error.format_message()}", err=True)
        return INPUT_UNUSABLE
    except ValueError as error:
        return _unusable(error)
    return code if isinstance(code, int) else 0


def main() -> None:
    """Run the program and leave with its exit code."""
    code = run()
    if code == INTERRUPTED:
        # Where the interrupt fell into code made from text (imports are full of it), the interpreter notes it
        # as unhandled and would end itself by the signal in spite of the code. All files are closed by now.
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    sys.exit(code)


def _unusable(error: ValueError) -> int:
    """Print an ``InputError`` as one sentence; any other error is ours and shows itself whole."""
    from sensor_models.errors import InputError

    if not isinstance(error, InputError):
        raise error
    click.echo(f"downstop: {error}", err=True)
    return INPUT_UNUSABLE


def _reader_left() -> int:
    # the interpreter flushes standard output once more while leaving, and would complain
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return READER_LEFT
