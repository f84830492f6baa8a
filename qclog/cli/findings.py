"""`qclog findings`: the troubles that stand, strongest first; what people said of them; and `qclog change`."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from qclog.cli import options
from qclog.domain.findings import STATES

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from qclog.services.watch.finding_life import Followed, Watched
    from qclog.store.log import Log


def add_to(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser("findings", help="the troubles the readings point to, and what to check next")
    parser.add_argument(
        "--json",
        action="store_true",
        help="those that stand as one JSON array, strongest first",
    )
    parser.add_argument(
        "--replay",
        action="store_true",
        help="look through it as it grew: when each was raised, in order",
    )
    parser.add_argument("--also-look", action="store_true", help="with what is merely worth a look")
    parser.add_argument("--all", action="store_true", help="with those that were explained, closed or rejected")
    options.add_log(parser, earlier=True)
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=False)
    note = actions.add_parser("note", help="say what was found and done about a finding; what was said before is kept")
    note.add_argument("finding", metavar="ID", help="its id, or an unmistakable part of it")
    note.add_argument("state", metavar="STATE", type=_as_words, choices=STATES, help=", ".join(STATES))
    note.add_argument("--found", metavar="TEXT", help="what was found; why it is rejected")
    note.add_argument("--done", metavar="TEXT", help="what was done")
    _add_log_again(note)
    options.add_by(note)
    note.set_defaults(run=say)
    show = actions.add_parser("show", help="a finding with everything that was said of it")
    show.add_argument("finding", metavar="ID", help="its id, or an unmistakable part of it")
    _add_log_again(show)
    show.set_defaults(run=show_one)


def _as_words(text: str) -> str:
    return text.replace("-", " ").replace("_", " ")


def _add_log_again(parser: argparse.ArgumentParser) -> None:
    """--log after the action too, without undoing one given before it."""
    parser.add_argument("--log", metavar="FILE", default=argparse.SUPPRESS, help="the log")


def run(arguments: argparse.Namespace) -> int:
    """Print the findings."""
    from qclog.services.watch import finding_life, finding_words

    log = options.log_of(arguments)
    watched = _replayed(log) if arguments.replay else finding_life.watch(log)
    zone = _zone(log)
    shown = [f for f in watched.followed if f.stands]
    weaker = list(watched.worth_a_look) if arguments.also_look else []
    if arguments.replay:
        shown.sort(key=lambda f: (f.finding.found_at, f.id) if f.finding else (None, f.id))
    if arguments.json:
        told = [f.finding for f in (*shown, *weaker) if f.finding is not None]
        print(json.dumps(finding_words.as_json(told, zone), ensure_ascii=False, indent=1))
        return 0
    _print_standing(log, shown, zone, replay=arguments.replay)
    if weaker:
        print("\nMerely worth a look, too weak to stand:")
        _print_standing(log, weaker, zone, replay=arguments.replay)
    elif watched.worth_a_look and not arguments.also_look:
        print(f"\n{len(watched.worth_a_look)} more merely worth a look (--also-look shows them)")
    _print_settled(watched, zone, everything=arguments.all)
    if shown:
        print("\nThese are suggestions from readings, not proof: look before you act.")
    return 0


def _replayed(log: Log) -> Watched:
    """A replay, which says how far it has come where somebody waits for it."""
    from qclog.services.watch import finding_life

    def tell(looked: int) -> None:
        if sys.stderr.isatty():
            print(f"\rlooked at {looked} moments ", end="", file=sys.stderr, flush=True)

    watched = finding_life.replay(log, tell)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    return watched


def _print_standing(log: Log, shown: list[Followed], zone: ZoneInfo, *, replay: bool) -> None:
    from qclog.domain.moments import show_moment
    from qclog.services.jobs.whereabouts import read_jobs_out
    from qclog.services.watch import finding_words

    if not shown:
        print("Nothing stands out after allowing for everything that was looked at.")
        return
    gone = read_jobs_out(log)
    for number, followed in enumerate(shown, start=1):
        finding = followed.finding
        if finding is None:
            continue
        first, *rest = finding_words.tell(finding, gone, zone)
        date = f"{show_moment(finding.found_at, zone)[:10]}  " if replay else ""
        print(f"{number}. {date}{first}")
        for line in (*rest, *finding_words.tell_state(followed, zone), f"id: {finding.id}"):
            print(f"   {line}")


def _print_settled(watched: Watched, zone: ZoneInfo, *, everything: bool) -> None:
    from qclog.services.watch import finding_words

    settled = watched.settled
    if not settled:
        return
    if not everything:
        print(f"\n{finding_words.count_settled(settled)} (--all shows them)")
        return
    print("\nNo longer standing:")
    for followed in settled:
        print(f"- {finding_words.said_of(followed)}")
        for line in (*finding_words.tell_state(followed, zone), f"id: {followed.id}"):
            print(f"  {line}")


def say(arguments: argparse.Namespace) -> int:
    """Say something of a finding."""
    from qclog.services.watch import finding_life

    log = options.log_of(arguments)
    person = options.person_of(arguments)
    submission = options.submission_of(arguments, f"finding {arguments.finding}: {arguments.state}")
    note = finding_life.note_finding(
        log, arguments.finding, arguments.state, person, submission, found=arguments.found, done=arguments.done
    )
    print(f"{note.finding}: {note.state}, says {note.person}")
    if note.state == "closed":
        print("It opens again by itself if units measured from now on show the same.")
    return 0


def show_one(arguments: argparse.Namespace) -> int:
    """Show a finding with its history."""
    from qclog.services.jobs.whereabouts import read_jobs_out
    from qclog.services.watch import finding_life, finding_words

    log = options.log_of(arguments)
    zone = _zone(log)
    followed = finding_life.pick(finding_life.watch(log).followed, arguments.finding)
    print(followed.id)
    if followed.finding is None:
        print(f"  {finding_words.said_of(followed)}")
        print("  the readings no longer show it")
    else:
        gone = read_jobs_out(log)
        for line in finding_words.tell(followed.finding, gone, zone):
            print(f"  {line}")
        print(f"  jobs: {', '.join(followed.finding.jobs)}")
    for line in finding_words.tell_history(followed, zone):
        print(f"  {line}")
    return 0


def _zone(log: Log) -> ZoneInfo:
    from qclog.services.keeping import sheets

    return sheets.zone_of(log)
