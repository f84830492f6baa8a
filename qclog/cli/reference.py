"""Every command with its options, as COMMANDS.md beside this file has it: `python -m qclog.cli.reference` writes it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from qclog.cli import build_parser

FILE = Path(__file__).with_name("COMMANDS.md")


def text() -> str:
    """The reference as Markdown, from the parser itself."""
    lines = ["# Commands", "", "Made by `python -m qclog.cli.reference` from the commands themselves.", ""]
    for path, parser, summary in _commands(build_parser(), ()):
        lines += [f"## `qclog {' '.join(path)}`", "", f"{summary[:1].upper()}{summary[1:]}.", ""]
        rows = [_row(action) for action in parser._actions if _is_shown(action)]
        if rows:
            lines += ["| word | meaning |", "|---|---|", *rows, ""]
        if parser.epilog:
            lines += [parser.epilog, ""]
    return "\n".join(lines)


def _commands(
    parser: argparse.ArgumentParser, path: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], argparse.ArgumentParser, str]]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            help_of = {choice.dest: choice.help or "" for choice in action._choices_actions}
            for name, sub in action.choices.items():
                below = list(_commands(sub, (*path, name)))
                if below:
                    yield from below
                else:
                    yield (*path, name), sub, help_of.get(name, "")


def _is_shown(action: argparse.Action) -> bool:
    return action.help != argparse.SUPPRESS and not isinstance(action, argparse._HelpAction)


def _row(action: argparse.Action) -> str:
    if action.option_strings:
        takes = "" if action.nargs == 0 else f" {_value(action)}"
        word = ", ".join(f"{option}{takes}" for option in action.option_strings)
    else:
        word = _value(action)
    word = f"[{word}]" if (action.option_strings and not action.required) or action.nargs in ("?", "*") else word
    said = (action.help or "").replace("%%", "%").replace("%(default)s", str(action.default)).replace("|", "\\|")
    return f"| `{word.replace('|', chr(92) + '|')}` | {said} |"


def _value(action: argparse.Action) -> str:
    if action.metavar:
        return action.metavar if isinstance(action.metavar, str) else " ".join(action.metavar)
    if action.choices is not None:
        return "|".join(str(choice) for choice in action.choices)
    return action.dest.upper()


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
