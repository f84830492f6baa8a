"""qclog: the measurement log of a workshop that rebuilds gearboxes and differentials."""

__version__ = "0.1.0"
