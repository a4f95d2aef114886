"""The sample of the report's tests; the tests here answer its findings."""

from tests.report.conftest import original, plan_folder, record_path, sample

__all__ = ["original", "plan_folder", "record_path", "sample"]
