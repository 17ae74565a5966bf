"""The command line's way in: run a command, turn errors into one line and an exit code.

0 good, 2 usage, 3 input or output, 4 settings, 130 stopped by the user, 70 our own mistake.
"""

from __future__ import annotations

import atexit
import os
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from typing import NoReturn

import click

from reachrank.commands import cli
from reachrank.errors import ReachrankError
from reachrank.interrupt import STOPPED, ending_soon, leave
from reachrank.report.plain import plain

OUR_MISTAKE = 70


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    debug = "--debug" in arguments or bool(os.environ.get("REACHRANK_DEBUG"))
    arguments = [word for word in arguments if word != "--debug"]
    _never_fail_on_a_letter()
    if not debug:  # what matters to the user is a finding; these speak to programmers
        warnings.simplefilter("ignore")
    for name in ("reachrank.write.place", "reachrank.running.kept_work"):
        if module := sys.modules.get(name):
            module.begin()
    try:
        with ending_soon(_last_words), nullcontext() if debug else _no_stray_traces():
            result = cli.main(args=arguments, prog_name="reachrank", standalone_mode=False)
    except (KeyboardInterrupt, click.Abort):
        if argv is None and threading.active_count() > 1:
            leave(_last_words())  # threads that still work are not waited for
        return _fail(_last_words(), STOPPED)
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except ReachrankError as error:
        if debug:
            traceback.print_exc()
        return _fail(f"reachrank: error: {plain(str(error))}", error.exit_code)
    except SystemExit as end:
        if end.code == 1:  # click's end when the reader of a pipe has gone, as in `... | head`
            return 0
        return _fail("reachrank: error: Some code ended the program on its own.", OUR_MISTAKE)
    except MemoryError:
        return _fail(
            "reachrank: error: There is not enough memory. Rank fewer streams at a time.",
            OUR_MISTAKE,
        )
    except Exception as error:  # noqa: BLE001, RUF100  (the border: nothing may pass as a bare traceback)
        if debug:
            traceback.print_exc()
            return OUR_MISTAKE
        return _fail(
            f"reachrank: error: This is a mistake in reachrank ({type(error).__name__}: "
            f"{plain(str(error))[:200]}). The details to report are in {_keep_traceback()}.",
            OUR_MISTAKE,
        )
    return result if isinstance(result, int) else 0


@contextmanager
def _no_stray_traces() -> Iterator[None]:
    """Keep off the terminal what libraries show when they cannot read their own words."""
    hooks = sys.unraisablehook, sys.excepthook
    sys.unraisablehook, sys.excepthook = lambda _: None, lambda *_: None
    try:
        yield
    finally:
        sys.unraisablehook, sys.excepthook = hooks


def _last_words() -> str:
    place = sys.modules.get("reachrank.write.place")  # not loaded: nothing can have been written
    words: str = place.give_up() if place else "Stopped. Nothing was written."
    kept = sys.modules.get("reachrank.running.kept_work")
    return plain(f"{words} {kept.last_words()}".rstrip() if kept else words)


def _fail(message: str, code: int) -> int:
    click.echo(message, err=True)
    return code


def _keep_traceback() -> str:
    with tempfile.NamedTemporaryFile(
        "w", prefix="reachrank-error-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        traceback.print_exc(file=file)
    return file.name


def _never_fail_on_a_letter() -> None:
    """Let a terminal that lacks a letter (a name, a superscript) show a question mark instead."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]


def run() -> NoReturn:
    """Be the program: run the command line and end the process.

    What others have asked to be done at the end is done; the tables of a county are left to the
    system, which clears them away at once. Python would take half a second to take them apart.
    """
    code = main()
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(code)


if __name__ == "__main__":
    run()
