"""The program as people install it: a wheel, not the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from app.intake.queue import read_queue
from app.translation.solving import Question
from solver.search.kernels import annealing
from solver.search.preparation import prepare

ROOT = Path(__file__).parents[2]
PLAN = (
    "plan",
    "--plant",
    "sample_data/small/plant.json",
    "--jobs",
    "sample_data/small/jobs.csv",
    "--work",
    "50",
)


def run(*command: str | Path, folder: Path) -> str:
    """Run a command without the checkout on its path, and give what it prints."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "NUMBA"))}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=folder,
        env=clean | {"PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout with the build backend at hand."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = (sys.executable, "-m", "pip", "wheel", "--quiet", "--no-index", "--no-deps", "--no-build-isolation")
    run(*pip, "--wheel-dir", folder, ROOT, folder=folder)
    (built,) = folder.glob("runwright-*.whl")
    return built


@pytest.fixture(scope="module")
def bin_folder(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with the wheel installed, and this one's other packages lent to it."""
    home = tmp_path_factory.mktemp("environment")
    venv.create(home, with_pip=False)
    paths = sysconfig.get_paths(vars={"base": str(home), "platbase": str(home)}, scheme="venv")
    lent = sysconfig.get_paths()
    lines = dict.fromkeys((lent["purelib"], lent["platlib"]))
    (Path(paths["purelib"]) / "lent.pth").write_text("\n".join(lines) + "\n", encoding="utf-8")
    scripts = Path(paths["scripts"])
    install = ("install", "--quiet", "--no-index", "--no-deps", "--ignore-installed", wheel)
    run(sys.executable, "-m", "pip", "--python", scripts / "python", *install, folder=home)
    return scripts


@pytest.fixture(scope="module")
def compiled_kernels(bin_folder: Path) -> None:
    """The kernels that the checkout has compiled, beside the wheel's sources, if those are the same: what
    compiling does is the same anywhere, and takes half a minute.
    """
    small = ROOT / "sample_data" / "small"
    queue = read_queue(small / "plant.json", small / "jobs.csv")
    prepare(Question(queue.plant, queue.jobs, datetime(2027, 3, 1, 6)).problem)
    sources = Path(annealing.__file__).parent
    packages = sysconfig.get_paths(vars={"base": str(bin_folder.parent)}, scheme="venv")["purelib"]
    installed = Path(packages) / "solver" / "search" / "kernels"
    kept: Any = annealing.anneal
    shutil.copytree(kept.stats.cache_path, installed / "__pycache__", dirs_exist_ok=True)
    for source in sources.glob("*.py"):
        there = installed / source.name
        assert there.read_bytes() == source.read_bytes()
        shutil.copystat(source, there)  # kernels belong to a source of one size and one moment


MIGRATE = """
import sys
from app.store.engine import database_url
from app.store.migrating import upgrade
print(upgrade(database_url(f"sqlite:///{sys.argv[1]}")).is_current)
"""


def test_the_installed_program_makes_its_tables(bin_folder: Path, tmp_path: Path) -> None:
    done = run(bin_folder / "python", "-c", MIGRATE, tmp_path / "runwright.db", folder=tmp_path)
    assert done.strip() == "True"


def test_the_wheel_holds_the_packages_their_types_and_the_samples(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    assert names >= {
        *(f"{package}/{name}" for package in ("app", "solver") for name in ("__init__.py", "py.typed")),
        "migrations/__init__.py",
        "migrations/env.py",
        "migrations/script.py.mako",
        "migrations/versions/v0001_plants_stock_jobs.py",
        "sample_data/plant.schema.json",
        "sample_data/small/plant.json",
        "sample_data/small/jobs.csv",
    }
    assert not any(name.startswith(("tests", ".ci")) for name in names)


@pytest.mark.usefixtures("compiled_kernels")
def test_the_installed_command_plans_the_packaged_sample_from_an_empty_folder(
    bin_folder: Path, tmp_path: Path
) -> None:
    page = run(bin_folder / "runwright", *PLAN, "--out", "out", folder=tmp_path)
    assert "Line H1" in page
    assert "sample_data/small/plant.json is not in this folder" in page
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "ledger.csv",
        "ledger.json",
        "report.html",
        "report.pdf",
        "run-sheet-H1.html",
        "run-sheet-H1.json",
        "run-sheet-H1.pdf",
        "sequence.csv",
        "sequence.json",
    }


def test_the_installed_packages_are_not_those_of_the_checkout(bin_folder: Path, tmp_path: Path) -> None:
    code = "import app, solver, migrations, sample_data; print(app, solver, migrations, sample_data)"
    told = run(bin_folder / "python", "-c", code, folder=tmp_path)
    assert str(ROOT) not in told
