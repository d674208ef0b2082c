"""What every command shares: the application, how it speaks, how typed words are parted.

Results go to standard output, talk to standard error; the exit code says how it ended
(docs/commands.md). Hides Typer.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, ParamSpec

import typer

from evidence import tables
from evidence.errors import CannotSay, EvidenceError, ExitCode, WrongUsage
from evidence.progress import Line, Progress, Silent

if TYPE_CHECKING:
    from evidence.desk import Desk

P = ParamSpec("P")

app = typer.Typer(
    name="evidence",
    help="From a house inspector's camera card to an issued, verifiable photo appendix.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Job = Annotated[Path, typer.Argument(help="The job's folder.", show_default="this folder")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for programs.")]

HERE = Path()


def told(command: Callable[P, int | None]) -> Callable[P, None]:
    """Turn what a command returns or raises into its exit code, with one clear sentence."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            with tables.laid_out_for(_columns()):
                code = command(*args, **kwargs)
        except EvidenceError as problem:
            talk(f"{problem}\n{problem.remedy}".strip())
            raise typer.Exit(int(problem.exit_code)) from None
        except KeyboardInterrupt:
            talk("\nStopped. What was safe is kept; run the same command again to go on.")
            raise typer.Exit(int(ExitCode.INTERRUPTED)) from None
        except Exception as problem:  # noqa: BLE001 - the door: a person never sees a traceback
            if _undecodable(problem):
                talk("A word typed is not UTF-8 and cannot be written down. Type it anew.")
                raise typer.Exit(int(ExitCode.USAGE)) from None
            talk(f"The program stopped at something it does not know: {type(problem).__name__}: {problem}")
            talk("The job is safe: originals and record are never half-written. Please report this sentence.")
            raise typer.Exit(int(ExitCode.STOPPED)) from None
        raise typer.Exit(int(code or ExitCode.DONE))

    return run


def _columns() -> int:
    """Tell how wide results may be: as the terminal that shows them, or as ever in a file or a pipe."""
    return shutil.get_terminal_size((tables.WIDTH, 24)).columns if sys.stdout.isatty() else tables.WIDTH


def _undecodable(problem: Exception) -> bool:
    """Tell whether bytes of the command line that are no UTF-8 met a writer; PEP 383 has them arrive so."""
    return isinstance(problem, UnicodeEncodeError) and any("\ud800" <= c <= "\udfff" for c in problem.object)


def say(text: str) -> None:
    """Print a result; a reader that has gone ("evidence status --pictures | head") is told no more of it.

    Raises
    ------
    CannotSay
        It was sent into a file that cannot be written, on a full disk for example.
    """
    try:
        typer.echo(text)
    except BrokenPipeError:
        _leave(sys.stdout)
    except OSError as problem:
        _leave(sys.stdout)
        raise CannotSay(f"The result cannot be written where it was sent: {problem.strerror}.") from problem


def talk(text: str) -> None:
    """Print what is said beside a result, if it can be; the result does not hang on it."""
    try:
        typer.echo(text, err=True)
    except OSError:
        _leave(sys.stderr)


def _leave(stream: IO[str]) -> None:
    """Let nothing more be written there: what is still held back is tried again as the program ends."""
    with open(os.devnull, "w") as nowhere:  # noqa: PTH123 - no file of anybody's
        os.dup2(nowhere.fileno(), stream.fileno())


def mind(words: str) -> None:
    """Print a caution or a fault beside a result, if there is one."""
    if words:
        talk(words)


def progress() -> Progress:
    """Draw progress only where a person watches."""
    return Line(sys.stderr) if sys.stderr.isatty() else Silent()


@contextmanager
def at_desk(job: Path, *, write: bool = True) -> Iterator[Desk]:
    """Open a job with everything read that its pictures can tell by today's methods.

    A kill or a newer version of the program leaves pictures unread; what rests on them would then be
    silently poorer. Opened for writing they are read first; opened for looking, the person is told.
    """
    from evidence.desk import Desk
    from evidence.steps import read

    with Desk.open(job, write=write) as desk:
        unread = read.unread(desk)
        if unread and write:
            read.read(desk, progress=progress())
        elif unread:
            some = "1 original is" if unread == 1 else f"{unread} originals are"
            talk(f"{some} not read yet by today's methods; read with: evidence light JOB")
        yield desk


def pairs(words: list[str] | None, option: str, example: str) -> list[tuple[str, str]]:
    """Part words such as "3=Kitchen"."""
    parted = []
    for word in words or []:
        key, sign, value = word.partition("=")
        if not sign or not key.strip():
            raise WrongUsage(f"{option} takes words such as {example}, not “{word}”.")
        parted.append((key.strip(), value))
    return parted


def one_of(acts: Mapping[str, bool]) -> str:
    """Give the one act that was asked for, "" for none; refuse two at once, for one would be left undone."""
    asked = [name for name, given in acts.items() if given]
    if len(asked) > 1:
        raise WrongUsage(f"{asked[0]} and {asked[1]} do not go together; give one command for each.")
    return asked[0] if asked else ""


def whole_number(word: str, what: str) -> int:
    """Read the number of a visit, picture or finding."""
    if not word.isdecimal():
        raise WrongUsage(f"“{word}” is not the number of a {what}.")
    return int(word)
