"""The page in a real browser: run by ``make test-browser``, not by ``make test``."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


def pytest_ignore_collect(collection_path, config):
    """Leave these tests out unless they are asked for by name."""
    return None if any("browser" in argument for argument in config.args) else True


@pytest.fixture(scope="session")
def browser():
    """A headless browser: one that is installed, or the one that came with playwright."""
    from playwright.sync_api import sync_playwright

    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=found, args=FLAGS)
        yield started
        started.close()


class Bench:
    """A case file, the server that shows it, and the pages on it."""

    def __init__(self, browser, path, *, arguments=None):
        self.browser, self.path = browser, path
        words = [str(path)] if arguments is None else arguments
        self.server = subprocess.Popen(
            [sys.executable, "-m", "airpath", "open", *words, "--no-browser", "--quiet"],
            stdout=subprocess.PIPE, text=True, cwd=path.parent,
        )  # fmt: skip
        self.address = self.server.stdout.readline().strip()
        assert self.address.startswith("http://127.0.0.1:")
        self.contexts = []

    def page(self, width=1280, height=900, **options):
        """Open another page, settled: every study done."""
        context = self.browser.new_context(viewport={"width": width, "height": height}, **options)
        self.contexts.append(context)
        page = context.new_page()
        page.errors = []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        page.on("console", lambda said: said.type in ("error", "warning") and page.errors.append(said.text))
        page.on("request", lambda asked: asked.url.startswith((self.address, "data:", "blob:", self.address.replace(
            "http", "ws", 1))) or page.errors.append(f"asked for {asked.url}"))  # fmt: skip
        page.goto(self.address)
        return page

    def close(self):
        for context in self.contexts:
            context.close()
        self.server.terminate()
        self.server.wait(10)
        self.server.stdout.close()


@pytest.fixture
def bench(browser, tmp_path):
    """Open a copy of a bundled case (or the start page, for None) with its drawings and its sweep beside it."""
    benches = []
    shutil.copytree(ROOT / "meshes", tmp_path / "meshes")
    (tmp_path / "cases").mkdir()

    def open_case(name):
        path = tmp_path / "cases" / f"{name or 'none'}.toml"
        if name is not None:
            shutil.copy(ROOT / "cases" / path.name, path)
            sweep = tomllib.loads(path.read_text(encoding="utf-8")).get("measured")
            if sweep is not None:
                (path.parent / sweep).parent.mkdir(exist_ok=True)
                shutil.copy(ROOT / "cases" / sweep, path.parent / sweep)
        benches.append(Bench(browser, path, arguments=[] if name is None else None))
        return benches[-1]

    yield open_case
    for one in benches:
        one.close()

