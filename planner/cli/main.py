"""The entry point: one typer app, and the one place where an error becomes a sentence."""

from planner.cli.interrupt import STOPPED, no_traceback, say_stopped

with no_traceback():  # Ctrl-C may come as early as this
    import contextlib
    import io
    import os
    import sys
    from pathlib import Path
    from typing import Annotated

    import typer

    from fleet.base.errors import MountbookError, Refused
    from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault
    from planner.cli import session
    from planner.cli.rooms import WorkingDay

app = typer.Typer(
    name="mountbook",
    cls=WorkingDay,
    help="Fleet ledger, remount planner and bench paper for ski rental shops.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _say_version(asked: bool) -> None:
    if asked:
        from fleet.base.program import program

        session.say(program())
        raise typer.Exit


@app.callback()
def _front(
    ledger: Annotated[
        Path | None,
        typer.Option(
            "--ledger", metavar="FILE", help="The ledger; else MOUNTBOOK_LEDGER, else mountbook.db here."
        ),
    ] = None,
    yes_today: Annotated[
        bool, typer.Option("--yes-today", help="The clock is right, though the ledger was silent for long.")
    ] = False,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Say the version and stop."),
    ] = False,
) -> None:
    session.choose_ledger(ledger, yes_today=yes_today)
    session.say_test_clock()


def main() -> None:
    """Run the command. A MountbookError prints one sentence and a cure and exits with 1, without a traceback.

    Ctrl-C is one sentence too, and exit code 130: the parser turns it into that code without a word.
    """
    with no_traceback():
        try:
            _answer()
        except SystemExit as end:
            if end.code == STOPPED:
                say_stopped()
            raise


def _answer() -> None:
    _make_streams_ready()
    # Typer's parser would look through every installed package for plug-ins: a tenth of a second, for none.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    try:
        try:
            _run()
        finally:
            sys.stdout.flush()
    except MountbookError as fault:
        sys.exit(_report(fault))
    except SQLITE_FAULTS as fault:
        sys.exit(_report(ledger_fault(fault, session.ledger_path())))
    except BrokenPipeError:
        _drop_stdout()
        sys.exit(1)
    except OSError as fault:
        sys.exit(_report(_file_fault(fault)))
    except UnicodeEncodeError as fault:  # what was typed holds a byte that is no text, and nobody kept it
        sys.exit(_report(_bytes_fault(fault)))
    except Exception as fault:
        if _stopped(fault):
            raise KeyboardInterrupt from fault
        from planner.plan.fault_isolation import own_fault

        sys.exit(_report(own_fault(fault)))


def _stopped(fault: BaseException | None) -> bool:
    """Return True if Ctrl-C is behind it: Python 3.11 tells one while a class is made as another fault."""
    while fault is not None and not isinstance(fault, KeyboardInterrupt):
        fault = fault.__cause__ or fault.__context__
    return fault is not None


def _make_streams_ready() -> None:
    """Make the streams tolerant: an unprintable letter is shown escaped, an undecodable byte is read as �.

    A stream that the caller has closed is nothing to fail of.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123, SIM115 - lives on
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    if isinstance(sys.stdin, io.TextIOWrapper):
        ascii_only = sys.stdin.encoding.lower() in ("ascii", "us-ascii", "ansi_x3.4-1968")
        sys.stdin.reconfigure(encoding="utf-8" if ascii_only else None, errors="replace")


def _drop_stdout() -> None:
    """Close a stdout that nobody reads any more, so that Python does not try to write to it at its end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _bytes_fault(fault: UnicodeEncodeError) -> MountbookError:
    typed = str(fault.object)[:40].encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return MountbookError(
        f"{typed!r} holds bytes that are no text in UTF-8",
        cure="type it again; a terminal set to another character set sends such bytes",
    )


def _file_fault(fault: OSError) -> MountbookError:
    """Return a sentence for a full disk, a folder without rights, or a stick pulled out."""
    where = f"{fault.filename}: " if fault.filename else ""
    return MountbookError(
        f"{where}{fault.strerror or fault}",
        cure="free some space, or choose another place; look whether your action is in the ledger before you"
        " repeat it",
    )


def _run() -> None:
    """Run the app. Wrong usage exits with 2; with --json it prints one JSON object too."""
    if "--json" not in sys.argv:
        app()
        return
    try:
        code = app(standalone_mode=False)
    except typer.TyperException as fault:
        session.note(f"mountbook: {fault.format_message()}")
        session.emit_json({"refused": fault.format_message(), "cure": "see --help", "instead": []})
        sys.exit(fault.exit_code)
    except typer.Abort:
        sys.exit(STOPPED)
    sys.exit(code if isinstance(code, int) else 0)


def _report(fault: MountbookError) -> int:
    instead = list(fault.instead) if isinstance(fault, Refused) else []
    told = False
    if "--json" in sys.argv:
        with contextlib.suppress(OSError):
            session.emit_json({"refused": fault.sentence, "cure": fault.cure, "instead": instead})
            sys.stdout.flush()
            told = True
    if not told:
        session.note(f"mountbook: {fault.sentence}")
        if fault.cure:
            session.note(f"  {fault.cure}")
        if instead:
            session.note(f"  instead: {', '.join(instead)}")
    try:
        sys.stdout.flush()
    except OSError:
        _drop_stdout()
    return 1


if __name__ == "__main__":
    main()
