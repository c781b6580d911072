"""What `.streamlit/config.toml` says is in force, wherever the server is started."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.dashboard.serving import ENVIRONMENT

WANTED = {
    "runner.postScriptGC": False,
    "runner.fastReruns": False,
    "server.address": "127.0.0.1",
    "server.port": 8600,
    "server.headless": True,
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "theme.base": "light",
    "theme.baseFontSize": 20,
    "theme.primaryColor": "#0B4F8A",
    "theme.borderColor": "#595959",
}

IN_FORCE = f"""
import json
from dashboard.server.server import APP, CONFIG
from dashboard.kit.streamlit_inside import load_config
import streamlit as st
from streamlit import config
load_config(CONFIG, "127.0.0.1", 8600)
st.App(APP)
print(json.dumps({{name: config.get_option(name) for name in {list(WANTED)}}}))
"""


@pytest.fixture(scope="module")
def in_force(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """The options of a process started in a folder that has a config of its own."""
    folder: Path = tmp_path_factory.mktemp("elsewhere")
    (folder / ".streamlit").mkdir()
    (folder / ".streamlit" / "config.toml").write_text("[browser]\ngatherUsageStats = true\n")
    command = [sys.executable, "-c", IN_FORCE]
    done = subprocess.run(command, cwd=folder, env=ENVIRONMENT, capture_output=True, text=True, check=True)
    answer: dict[str, object] = json.loads(done.stdout)
    return answer


@pytest.mark.parametrize("option", WANTED)
def test_option_is_in_force(in_force: dict[str, object], option: str) -> None:
    assert in_force[option] == WANTED[option], (
        f"{option} is not in force as `.streamlit/config.toml` has it: see streamlit_inside.load_config, and what "
        "streamlit.web.bootstrap.load_config_options does now."
    )


def contrast_with_white(colour: str) -> float:
    """WCAG 2.2 contrast ratio of an sRGB colour with white."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 1.05 / (sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True)) + 0.05)


@pytest.mark.parametrize("option", ["theme.primaryColor", "theme.borderColor"])
def test_theme_colours_stand_out_on_a_floor_screen(in_force: dict[str, object], option: str) -> None:
    assert contrast_with_white(str(in_force[option])) >= 7
