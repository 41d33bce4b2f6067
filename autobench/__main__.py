"""The entry point: runs the command line and turns every end into an exit code. Nothing else belongs here.

0 good or done, 1 faulty, 2 usage or file error, 3 undecided, 4 stopped and anything unforeseen. Everything is imported
inside the `try`, so that a broken installation or a Ctrl-C while loading never reads as a faulty board (which is 1, and
also what the interpreter uses for an unhandled exception).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

# Objects made until garbage is collected. A round makes some hundred thousand that stay, most of them while loading; at
# the interpreter's own 700 a tenth of the time goes into looking through them again and again.
GARBAGE_AFTER = 20_000


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line (the process's own if `arguments` is None); returns the exit code."""
    try:
        from autobench.cli.entry import run

        return run(sys.argv[1:] if arguments is None else list(arguments))
    except KeyboardInterrupt:
        print("autobench: stopped by Ctrl-C", file=sys.stderr)
    except BrokenPipeError:
        silence_output()
    except BaseException as error:
        if isinstance(error, SystemExit) and isinstance(error.code, int):
            return error.code
        unforeseen(error)
    return 4


def console() -> int:
    """The installed command: as `main`, and once the outcome is known a late Ctrl-C changes nothing any more."""
    try:
        import gc
        import os

        # Threads of the arithmetic wait for each other on a busy machine, for longer than the guard's lease.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        gc.set_threshold(GARBAGE_AFTER)
        code = main()
    except KeyboardInterrupt:
        return 4
    try:
        import signal

        signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        return 4
    return code


def silence_output() -> None:
    """Whoever read our output is gone: keep the interpreter from complaining about it while it ends."""
    import os

    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - a replaced stream; kept until the end


def unforeseen(error: BaseException) -> None:
    """Say in words that this is our own fault, and keep the details for whoever mends it."""
    import contextlib
    import tempfile
    import traceback

    words = "autobench: something went wrong inside the program; this says nothing about the board."
    with (
        contextlib.suppress(OSError),
        tempfile.NamedTemporaryFile("w", prefix="autobench-", suffix=".txt", delete=False, encoding="utf-8") as details,
    ):
        traceback.print_exception(error, file=details)
        words += f" Details are in {details.name}"
    with contextlib.suppress(OSError, ValueError):
        print(words, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(console())
