"""qclog: the measurement log of a workshop that rebuilds gearboxes and differentials.

For programs of one's own:

    import qclog

    log = qclog.open_log("shop.duckdb")
    log.series("LR-2", "recess")    # a polars DataFrame, one row for each job and stage
    log.limits("LR-2", "recess")    # centre and control limits of one group of comparable units
    log.findings()                  # what stands now, the strongest first

Everything is read, nothing is written; each call sees the log as it is at that moment.
"""

from qclog.errors import QclogError
from qclog.public import ControlLimits, OpenLog, open_log
from qclog.version import __version__

__all__ = ["ControlLimits", "OpenLog", "QclogError", "__version__", "open_log"]
