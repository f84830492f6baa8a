"""The sample workshop as a log, which many tests of the services look at and none changes."""

from __future__ import annotations

import pytest

from qclog import resources
from qclog.services.exchange.import_folder import import_folder
from qclog.services.watch import finding_life
from qclog.services.watch.finding_life import Watched
from qclog.store.log import Log
from tests.conftest import submission


@pytest.fixture(scope="package")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """The sample workshop."""
    log = Log(tmp_path_factory.mktemp("sample") / "demo.duckdb")
    import_folder(log, resources.folder("sample_data"), submission("sample workshop"), timezone="Europe/London")
    return log


@pytest.fixture(scope="package")
def watched(sample: Log) -> Watched:
    """Its findings."""
    return finding_life.watch(sample)
