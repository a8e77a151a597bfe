"""For all tests: in CI a check that was left out for want of a program counts as failed."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import pytest

NO_CASE = "no case: "
"""Reasons that begin so are not about missing programs: the drawn example is none of the property's business."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[Any]) -> Generator[None, Any, Any]:
    report = yield
    if os.environ.get("CI") and report.skipped and not hasattr(report, "wasxfail"):
        reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)
        if NO_CASE not in reason:
            report.outcome = "failed"
            report.longrepr = f"{item.nodeid} was left out ({reason}); in CI nothing may be"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Generator[None, Any, Any]:
    report = yield
    if os.environ.get("CI") and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} was left out ({report.longrepr}); in CI nothing may be"
    return report
