"""Settings of the test run: those of a demo, in a folder of its own, with quick passwords.

What the developer's shell says of SLABCAST_ never reaches a test, so a run can neither touch
a real database nor pass or fail by somebody's environment. The processes a test starts are
told what they need by the test (`tests/servers.py`).
"""

import os
import tempfile
from pathlib import Path

FOR_TESTS = (
    "SLABCAST_TEST_",
    "SLABCAST_NO_SKIPS",
    "SLABCAST_SAMPLES",
    "SLABCAST_INSTANCES",
    "SLABCAST_READERS",
)

if "SLABCAST_TEST_CHILD" not in os.environ:
    for name in [name for name in os.environ if name.startswith("SLABCAST_")]:
        if not name.startswith(FOR_TESTS):
            del os.environ[name]
    os.environ["SLABCAST_DEMO"] = "1"
    state = Path(tempfile.gettempdir()) / f"slabcast-tests-{os.getuid()}"
    os.environ["SLABCAST_STATE_DIR"] = str(state)
    if os.environ.get("SLABCAST_TEST_ENGINE", "sqlite") == "postgresql":
        # Host and port follow when the throwaway server is up.
        os.environ["SLABCAST_DATABASE"] = "postgresql://postgres@127.0.0.1/slabcast"

from deploy.settings import *  # noqa: E402, F403

# Argon2 is slow on purpose, and a test signs in many times.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
