"""The invented sample workshop, seeded: its model, its case-type sheets, and the exchange folder it makes."""

from qclog.demo.folder import sheet_texts, write_folder
from qclog.demo.workshop import Workshop, build_workshop

__all__ = ["Workshop", "build_workshop", "sheet_texts", "write_folder"]
