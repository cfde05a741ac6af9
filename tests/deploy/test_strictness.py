"""Where skips are not allowed, a test that could not run counts as failed."""

import os
import subprocess
import sys

import pytest

from tests import servers

MISSING_SERVICE = "import pytest\ndef test_it(): pytest.skip('Redis is missing')\n"
MISSING_SAMPLES = "import pytest\ndef test_it(): pytest.skip('SLABCAST_SAMPLES is unset')\n"
WHOLE_MODULE = "import pytest\npytest.skip('Redis is missing', allow_module_level=True)\n"
BY_MARK = "import pytest\n@pytest.mark.skip(reason='later')\ndef test_it(): pass\n"
EXPECTED_TO_FAIL = "import pytest\n@pytest.mark.xfail\ndef test_it(): assert False\n"


def outcome(folder, source, *, no_skips):
    (folder / "test_it.py").write_text(source, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.strictness", "-p", "no:django"]
    command += ["-p", "no:cacheprovider", "--rootdir", str(folder), str(folder)]
    result = subprocess.run(
        command,
        env={**os.environ, "PYTHONPATH": str(servers.ROOT), "SLABCAST_NO_SKIPS": no_skips},
        cwd=folder,
        capture_output=True,
        text=True,
    )
    return result.stdout.splitlines()[-1].split(" in ")[0]


@pytest.mark.parametrize(
    ("source", "ends"),
    [(MISSING_SERVICE, "1 failed"), (BY_MARK, "1 error"), (WHOLE_MODULE, "1 error")],
)
def test_a_skip_is_a_failure_where_skips_are_not_allowed(tmp_path, source, ends):
    assert outcome(tmp_path, source, no_skips="1") == ends


@pytest.mark.parametrize("source", [MISSING_SERVICE, WHOLE_MODULE])
def test_elsewhere_a_skip_is_a_skip(tmp_path, source):
    assert outcome(tmp_path, source, no_skips="0") == "1 skipped"


def test_samples_are_opt_in_everywhere(tmp_path):
    assert outcome(tmp_path, MISSING_SAMPLES, no_skips="1") == "1 skipped"


def test_what_is_expected_to_fail_stays_expected(tmp_path):
    assert outcome(tmp_path, EXPECTED_TO_FAIL, no_skips="1") == "1 xfailed"
