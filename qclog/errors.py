"""Every error qclog raises on purpose.

    QclogError                    what a person can act on: message, field, found, hint
    ├── ReadingError (ValueError)     a reading that can't be understood
    │   └── UnitError                 a unit that is unknown or does not fit
    ├── SheetError (ValueError)       a case-type sheet with problems
    │   └── FormulaError              a formula that can't be used
    ├── InputError (ValueError)       any other bad value given by a person
    │   └── FolderError               an exchange folder with problems: carries all of them
    ├── UnknownNameError (LookupError)  a job, case type, gauge ... that isn't in the log
    ├── RightsError (PermissionError) someone without the right to do this
    │   └── SignOnError               a wrong PIN, or too many of them
    ├── StatisticsError (ValueError)  data a statistic can't be computed from
    │   └── TooFewError               not enough readings to say
    ├── OutputError (OSError)         a file or folder that can't be written
    └── LogError (OSError)            the log can't be used
        ├── LogBusyError (TimeoutError)   another program holds the log too long
        ├── LogVersionError               made by a newer qclog, or altered migrations
        └── LogDamagedError               not a qclog log, or a check failed

Each also inherits the builtin a caller would expect, so code that knows nothing of qclog can still catch it.
"""

from __future__ import annotations

from dataclasses import dataclass

MOST_SHOWN = 200  # letters of what was found, so that a cell of megabytes does not fill the screen


def show_found(found: object) -> str:
    """What was found, as it is told: cut where it is long, with how long it is."""
    text = str(found)
    return text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}... ({len(text):,} letters)"


class QclogError(Exception):
    """An error a person can act on.

    Parameters
    ----------
    message : what is wrong, in a sentence.
    field : the name of the field, column, key or option at fault.
    found : what was found there.
    hint : what would do instead.
    """

    def __init__(
        self, message: str, *, field: str | None = None, found: object = None, hint: str | None = None
    ) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.found = found
        self.hint = hint

    def __str__(self) -> str:
        parts = [self.message]
        if self.field is not None:
            where = f"in {self.field}"
            if self.found is not None:
                where += f", found {show_found(self.found)!r}"
            parts.append(f"({where})")
        elif self.found is not None:
            parts.append(f"(found {show_found(self.found)!r})")
        if self.hint:
            parts.append(f"- {self.hint}")
        return " ".join(parts)


class ReadingError(QclogError, ValueError):
    """A reading that can't be understood."""


class UnitError(ReadingError):
    """A unit that is unknown, ambiguous, or of the wrong dimension."""


class InputError(QclogError, ValueError):
    """Any other bad value given by a person."""


class ReadMeanwhileError(InputError):
    """Somebody read the place between its being shown and the reading that is given; `attempts` are now there."""

    def __init__(self, message: str, attempts: int, **kwargs: str | None) -> None:
        super().__init__(message, **kwargs)
        self.attempts = attempts


class RightsError(QclogError, PermissionError):
    """Someone without the right to do this."""


class SignOnError(RightsError):
    """A wrong PIN, or too many of them."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file: where it is, what was found, and why it will not do."""

    file: str
    line: int | None
    column: str | None
    found: str | None
    reason: str

    def __str__(self) -> str:
        where = self.file + (f":{self.line}" if self.line is not None else "")
        column = f" {show_found(self.column)}" if self.column else ""
        found = f" {show_found(self.found)!r}" if self.found is not None else ""
        return f"{where}{column}{':' if column or found else ''}{found} {self.reason}".replace("  ", " ")


class SheetError(QclogError, ValueError):
    """A case-type sheet with problems; `problems` lists every one."""

    def __init__(self, message: str, problems: tuple[Problem, ...] = (), **kwargs: str | None) -> None:
        super().__init__(message, **kwargs)
        self.problems = problems


class FormulaError(SheetError):
    """A formula that can't be read, loops, or mixes dimensions."""


class FolderError(InputError):
    """An exchange folder with problems; nothing of it was imported."""

    def __init__(self, message: str, problems: tuple[Problem, ...] = (), **kwargs: str | None) -> None:
        super().__init__(message, **kwargs)
        self.problems = problems


class UnknownNameError(QclogError, LookupError):
    """A job, case type, characteristic, gauge or person that isn't in the log."""


class StatisticsError(QclogError, ValueError):
    """Data that a statistic can't be computed from."""


class TooFewError(StatisticsError):
    """Not enough readings to say."""


class OutputError(QclogError, OSError):
    """A file or folder that can't be written."""


class LogError(QclogError, OSError):
    """The log can't be used."""


class LogBusyError(LogError, TimeoutError):
    """Another program holds the log too long."""


class LogVersionError(LogError):
    """The log was made by a newer qclog, or its migrations were altered."""


class LogDamagedError(LogError):
    """The file isn't a qclog log, or is damaged."""
