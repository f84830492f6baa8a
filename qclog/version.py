"""The version of qclog, for those below the public face."""

__version__ = "0.1.0"
