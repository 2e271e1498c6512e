"""The report of a job is one page, whatever is in it."""

from __future__ import annotations

import re

import pytest

from registry.formats.cautions import CAUTIONS, caution_lines
from registry.formats.job_report import JobReport, ReportCell, report_pdf
from registry.formats.job_words import act_text, outcome_text, step_text, symptom_text
from registry.models.jobs import JobAct, JobOutcome, JobStep, JobSymptom


def report(rows: int, columns: int, **more: object) -> JobReport:
    cells = [ReportCell("closed", "0.4", "0.4"), ReportCell("open", "OL", "OL", unlike=True)]
    given = {
        "title": "Job report: Sweeper 7",
        "facts": [("Vehicle", "Sweeper 7"), ("Symptom", "x" * 200)],
        "verdicts": ["Old unit: Faulty: a good unit would hardly read like this. " * 4],
        "pattern": "Drawn: the pattern, revision 3, from 11 units.",
        "columns": [str(n) for n in range(columns)],
        "rows": [(f"P{n}", [cells[(n + k) % 2] for k in range(columns)]) for n in range(rows)],
        "steps": [(step_text(step), act_text("done"), "2026-11-20", "word " * 60) for step in JobStep.values],
        "cautions": [str(line) for line in caution_lines("after", "check")],
        "printed": "Printed 2026-11-20.",
        **more,
    }
    return JobReport(**given)  # type: ignore[arg-type]


@pytest.mark.parametrize(("rows", "columns"), [(0, 0), (5, 5), (9, 12), (12, 18), (30, 40)])
def test_it_is_one_page(rows: int, columns: int) -> None:
    pdf = report_pdf(report(rows, columns, stop="STOP. Don't drive."))
    assert pdf.startswith(b"%PDF") and len(re.findall(rb"/Type /Page\b", pdf)) == 1


def test_every_code_has_its_words() -> None:
    for words, codes in (
        (symptom_text, JobSymptom.values),
        (step_text, JobStep.values),
        (act_text, ["", *JobAct.values]),
        (outcome_text, ["", *JobOutcome.values]),
    ):
        assert all(words(code) for code in codes)


def test_cautions_of_print_are_each_there_once_and_the_gravest_first() -> None:
    lines = caution_lines("after", "check", "before", "bench")
    assert len(lines) == len(set(lines)) == len(CAUTIONS)
    assert lines[0].startswith("Danger") and lines[-1].startswith("Notice")
