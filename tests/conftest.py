"""What all tests share: the demo run, the open layers, no network, versions in the header."""

from __future__ import annotations

import os
import socket
from importlib import metadata
from pathlib import Path

import pytest
from hypothesis import settings

from hydrantgis import demo as district

settings.register_profile("quick", max_examples=40, deadline=None, derandomize=True)
settings.register_profile("thorough", max_examples=400, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

ROOT = Path(__file__).parent.parent


def pytest_report_header() -> str:
    names = ("geopandas", "pandas", "numpy", "shapely", "pyproj", "fiona", "pyogrio", "folium")
    return "versions: " + ", ".join(f"{name} {metadata.version(name)}" for name in names)


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing goes to the network; a notebook's kernel on this machine is no network."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: object) -> object:
        local = self.family == getattr(socket, "AF_UNIX", None) or (
            isinstance(address, tuple) and str(address[0]) in {"127.0.0.1", "::1", "localhost"}
        )
        if not local:
            raise AssertionError(f"a connection to {address} was tried")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple:
    """The demo, run once: checked, season, paths, intakes."""
    return district.run(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of open layers that HYDRANTGIS_OPEN_DATA names."""
    place = os.environ.get("HYDRANTGIS_OPEN_DATA")
    if not place or not Path(place).is_dir():
        pytest.skip("HYDRANTGIS_OPEN_DATA names no folder of open layers")
    return Path(place)
