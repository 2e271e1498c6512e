"""A small client of API v1, on the standard library alone.

from api.client import Registry, sheets_from_csv
registry = Registry("https://registry.example", token="bq_…")
for sheet in sheets_from_csv("readings.csv"):
    print(registry.check(sheet).verdict)
"""

from api.client.errors import Fault, RegistryProblem, RegistryUnreachable
from api.client.registry import Registry
from api.client.results import Cause, Chart, ChartCell, CheckResult, DesignFound, NextReading, Submitted
from api.client.sheets import sheets_from_csv

__all__ = [
    "Cause",
    "Chart",
    "ChartCell",
    "CheckResult",
    "DesignFound",
    "Fault",
    "NextReading",
    "Registry",
    "RegistryProblem",
    "RegistryUnreachable",
    "Submitted",
    "sheets_from_csv",
]
