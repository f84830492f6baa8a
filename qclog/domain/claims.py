"""What is said of a return after it was opened, and what the house set for itself: the closed sets of both."""

from __future__ import annotations

MOMENTS = ("received", "inspected", "decided", "closed")
AMOUNTS = ("hours", "labour_hours", "parts_cost", "carriage_cost")
HOURS_FROM = ("hour meter", "log book", "owner's word", "estimate")
COMEBACK_DETAILS = {
    "complaint": "complaint",
    "complaint_code": "code of the complaint",
    "received": "received",
    "inspected": "inspected",
    "finding": "found",
    "failure_code": "code of the failure",
    "attributable": "ours",
    "decided": "decided",
    "evidence": "decided on this evidence",
    "closed": "closed",
    "hours": "hours in service",
    "hours_from": "how the hours are known",
    "labour_hours": "labour, hours",
    "parts_cost": "parts",
    "carriage_cost": "carriage",
}
HOUSE_DETAILS = {
    "complaint_code": "code of a complaint",
    "failure_code": "code of a failure",
    "rate": "rate",
}
FALSE_FINDINGS = ("rate", "false_findings")  # how many false findings a year may stand
RATES = ("labour_hour", "currency", "false_findings")
GAUGE_DETAILS = ("tolerance",)
