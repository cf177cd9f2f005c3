"""The commands in the order of the shop's year and day, each module imported only when it is asked for.

Building the options of sixty commands takes longer than the recheck list itself; so a command is built
when it is typed, and the front page is told from the first words of each function.
"""

import inspect
from collections.abc import Callable
from functools import cache, partial
from importlib import import_module
from keyword import iskeyword
from types import MappingProxyType
from typing import Any, Final

import typer
from typer.core import TyperGroup

from planner.cli import session

_DAY: Final[tuple[tuple[str, str], ...]] = (
    ("The first day", "blank import staff policy pattern kind fit demo"),
    (
        "Holes: what is there, what may go where",
        "why where whatif life ski boot note survey name-holes batch template",
    ),
    (
        "Planning and the bench",
        "wanted plan plan-compare chain order confirm-hour bench prep labels printer sole release-test"
        " calibration",
    ),
    ("The counter", "serve today find out back counter set-binding later undo move"),
    ("The evening", "recheck hold ski-fault hold-tag repair clear sample loosens"),
    ("After an accident, or a recall", "quarantine case case-check recall"),
    ("The season's end", "season-end mounts-worth stocktake stock singles hole-map export"),
    ("The ledger", "audit backup restore rebuild correct rename withdraw remark mend-clock redact"),
)
PARTS_OF_THE_DAY: Final = {title: tuple(names.split()) for title, names in _DAY}
"""Heading -> the commands under it, each in the order in which it is needed."""

_ROOMS: Final = {
    "explain": "why where whatif plan-compare life mounts-worth",
    "bench": "bench",
    "case": "case case-check",
    "chain": "chain",
    "counter": "today find counter out back set-binding later undo move",
    "demo": "demo",
    "holds": "hold ski-fault clear quarantine hold-tag repair recall",
    "survey": "survey batch name-holes",
    "ledger_care": "audit backup restore rebuild ski correct rename withdraw remark redact mend-clock"
    " confirm-hour",
    "orders": "order",
    "patterns": "pattern",
    "planning": "wanted plan",
    "policy": "policy staff",
    "recheck": "recheck prep",
    "sampling": "sample loosens",
    "season": "stocktake season-end hole-map singles",
    "serve": "serve",
    "sheets": "template labels printer",
    "spreadsheets": "import blank export",
    "things": "boot note kind fit stock release-test calibration sole",
}
ROOM_OF: Final = MappingProxyType({name: room for room, names in _ROOMS.items() for name in names.split()})
"""Command -> the module of planner/cli that registers it."""
_CALLED_NOW: Final = {"argue": "why", "suppose": "whatif", "sample storm": "sample closed-day"}
"""A command's old name -> its name now. The old one still works; it stands on no page."""


_GROUPS: Final = {
    "chain": ("plan send receive home", "Several shops, each with its own ledger, in one plan."),
    "bench": ("plan show progress", "The bench weeks: who works on which order, when, on which jig."),
    "order": (
        "issue list print plugged done stop branch",
        "Work orders: issue a plan, list, print, plugged, done, stop, branch.",
    ),
    "fit": ("list take-back", "Fits declared by both makers: list, take back."),
    "pattern": ("add show check list kinds model", "Hole patterns and binding models as data."),
    "policy": ("list set check", "The shop's rules: value, unit, origin, since when."),
    "prep": ("sign print shop", "The season prep sign-off, which gives a pair its first pass."),
    "printer": ("sheet measured", "Correct true-scale sheets for what the printer does to a length."),
    "recall": ("open list close", "Makers' recalls: nothing they reach goes out."),
    "recheck": ("list print record enter close", "What came back today and must be looked at."),
    "repair": ("begin done", "Take a held pair to the bench, and say what was done."),
    "sample": (
        "status draw result close closed-day odds standard",
        "The in-season sample: draw, enter results, close.",
    ),
    "singles": ("lost match join", "Single skis: lost partners, and new pairs of old skis."),
    "stock": ("list in out", "Bindings in stock: list, in, out."),
    "staff": ("list add qualify", "The staff list: who may sign and is qualified, until when."),
}
"""Command -> the commands under it, and its help."""
_TAKES_NEGATIVE: Final = "policy_set"
"""A setting's value may be negative, and is then no option."""


def room(name: str) -> typer.Typer:
    """Return the module's own app. A command's function has its name, with the group's before it."""
    module = import_module(f"planner.cli.{name}")
    app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None)
    for command in _ROOMS[name].split():
        inner, about = _GROUPS.get(command, ("", ""))
        if not inner:
            app.command(command)(getattr(module, function_of(command)))
            continue
        group = typer.Typer(help=about, no_args_is_help=True, cls=CommandGroup)
        for each in inner.split():
            function = function_of(command, each)
            negative = {"ignore_unknown_options": function == _TAKES_NEGATIVE}
            group.command(each, context_settings=negative)(getattr(module, function))
        app.add_typer(group, name=command)
    return app


def function_of(*command: str) -> str:
    """Return the function of a command, by its words; `import_`, since `import` is Python's own word."""
    name = "_".join(command).replace("-", "_")
    return f"{name}_" if iskeyword(name) else name


def first_words(app: typer.Typer, command: str) -> str:
    """Return the first sentence of a command's help, without building the command."""
    for group in app.registered_groups:
        if group.name == command and group.typer_instance is not None:
            return _sentence(str(group.typer_instance.info.help))
    for one in app.registered_commands:
        if one.name == command and one.callback is not None:
            return _sentence(inspect.getdoc(one.callback) or "")
    raise KeyError(command)


def _sentence(text: str) -> str:
    paragraph = " ".join(text.split("\n\n", 1)[0].split())
    return paragraph.split(". ", 1)[0].rstrip(".")


def _in_plain_words(command: Any) -> None:
    """Show an argument without its Python type, and refuse an option as the value of another.

    ``--why --json`` is a forgotten reason.
    """
    for inner in getattr(command, "commands", {}).values():
        _in_plain_words(inner)
    for param in command.params:
        if param.param_type_name == "argument":
            param.get_help_record = partial(_without_type, param.metavar, param.get_help_record)
        elif not param.is_flag:
            param.callback = _refusing(param.callback)


def _without_type(name: str, record: Callable[[Any], tuple[str, str]], ctx: Any) -> tuple[str, str]:
    return name, record(ctx)[1]


def _refusing(then: Any) -> Any:
    def callback(ctx: Any, param: Any, value: Any) -> Any:
        for one in value if isinstance(value, list | tuple) else (value,):
            if str(one).startswith("--"):
                raise typer.BadParameter(
                    f"{param.opts[0]} needs a value; {str(one)!r} looks like the next option", ctx, param
                )
        return value if then is None else then(ctx, param, value)

    return callback


@cache
def _built(name: str) -> Any:
    """Return a command with its options, built once a process."""
    app = room(ROOM_OF[name])
    app.registered_commands = [one for one in app.registered_commands if one.name == name]
    app.registered_groups = [one for one in app.registered_groups if one.name == name]
    built = typer.main.get_command(app)
    command = built.commands[name] if isinstance(built, TyperGroup) else built
    _in_plain_words(command)
    return command


def _name_now(name: str) -> str:
    """Return the name of a command now; a note says it where it was typed by its old one."""
    now = _CALLED_NOW.get(name, name)
    if now != name:
        session.note(f"note: mountbook {name} is called mountbook {now} now")
    return now


class CommandGroup(TyperGroup):
    """The commands under one command, by their names now or by old ones."""

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return the command; None where there is none of that name."""
        return super().get_command(ctx, _name_now(f"{self.name} {cmd_name}").split(" ", 1)[1])

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write each command with the whole first sentence of its help."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, _sentence(self.commands[name].help or "")) for name in self.commands])


class WorkingDay(TyperGroup):
    """The front page by the working day. It builds only the command that is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Return every command, in the order of the front page."""
        return [name for names in PARTS_OF_THE_DAY.values() for name in names]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return the command, built from its module; None where there is none of that name."""
        return _built(now) if (now := _name_now(cmd_name)) in ROOM_OF else None

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the headings of the day, and under each its commands with the first sentence of their
        help.
        """
        rooms = {name: room(name) for name in dict.fromkeys(ROOM_OF.values())}
        for title, names in PARTS_OF_THE_DAY.items():
            with formatter.section(title):
                formatter.write_dl([(name, first_words(rooms[ROOM_OF[name]], name)) for name in names])
