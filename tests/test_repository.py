"""The repository as a whole: nothing of one machine in it, a lock that checks, a package that carries its data."""

from __future__ import annotations

import csv
import re
import shutil
import statistics
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

import cabinwright
from cabinwright.measure import compare, faults, recorded_with, take, zero
from cabinwright.stages.tuning.house import DEFAULT_CURVE

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOCKS = ("runtime", "dev", "extras")
LONGEST, MEDIAN = 400, 200  #: lines of a module


def tracked() -> list[Path]:
    """Files that git keeps; the test is skipped in a copy without git."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    return [path for name in done.stdout.split("\0") if name and (path := ROOT / name).is_file()]


def foreign(text: str) -> list[str]:
    """Addresses of package registries, and paths of somebody's machine."""
    hosts = ("pypi" + ".org", "python" + "hosted", "registry." + "npmjs", "proxy." + "golang", "mirror" + "s.")
    paths = re.findall(
        r"(?<![\w.])/(?:home|root|Users|work|opt)/\w+|(?<!\w)[A-Z]:\\Users\\\w+|--(?:extra-)?index-url[ =]", text
    )
    return [host for host in hosts if host in text] + paths


def test_no_registry_and_no_machine_in_any_file() -> None:
    assert foreign("see /ho" + "me/someone/notes and https://py" + "pi.org/simple")  # it can fail
    found = {}
    for path in tracked():
        data = path.read_bytes()
        if b"\0" not in data[:8000] and (hits := foreign(data.decode("utf-8"))):
            found[path.relative_to(ROOT).as_posix()] = hits
    assert found == {}


def test_every_text_is_utf8_with_plain_line_ends() -> None:
    for path in tracked():
        data = path.read_bytes()
        if b"\0" not in data[:8000]:
            assert b"\r" not in data, path
            assert not data or data.endswith(b"\n"), path


def test_modules_are_short() -> None:
    sizes = {
        path.relative_to(ROOT).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in (ROOT / "src").rglob("*.py")
    }
    assert {name: size for name, size in sizes.items() if size > LONGEST} == {}
    assert statistics.median(sizes.values()) < MEDIAN


def test_versions_agree() -> None:
    version = PROJECT["project"]["version"]
    assert cabinwright.__version__ == version
    assert re.search(rf"^## {re.escape(version)}\b", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)


def test_licence_is_whole() -> None:
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License" in text
    assert "9. Accepting Warranty or Additional Liability." in text
    assert "END OF TERMS AND CONDITIONS" in text
    assert PROJECT["project"]["license"] == "Apache-2.0"


def pins(lock: str) -> dict[tuple[str, str], tuple[str, int]]:
    """(package, condition) -> (exact version, number of hashes)."""
    found: dict[tuple[str, str], tuple[str, int]] = {}
    text = (ROOT / "requirements" / f"{lock}.txt").read_text(encoding="utf-8")
    for entry in re.sub(r"\\\n\s*", " ", re.sub(r"^#.*$", "", text, flags=re.MULTILINE)).splitlines():
        if entry.strip():
            told = re.fullmatch(r"([\w.-]+)==(\S+)((?: ; [^-]*?)?)((?: +--hash=sha256:[0-9a-f]{64})*)\s*", entry)
            assert told, f"{lock}: not a pin with hashes: {entry[:100]}"
            found[told[1].lower(), told[3].strip(" ;")] = (told[2], told[4].count("--hash"))
    return found


def asked(*extras: str) -> set[str]:
    """Names of the packages that pyproject.toml asks for."""
    project = PROJECT["project"]
    wanted = [*project["dependencies"], *(row for extra in extras for row in project["optional-dependencies"][extra])]
    return {re.split(r"[\[<>=!~; ]", row)[0].lower() for row in [*wanted, *PROJECT["build-system"]["requires"]]}


@pytest.mark.parametrize(("lock", "extras"), [("runtime", ()), ("dev", ("dev",)), ("extras", ("audio", "step"))])
def test_lock_holds_everything_with_hashes(lock: str, extras: tuple[str, ...]) -> None:
    found = pins(lock)
    assert all(hashes for _, hashes in found.values())
    assert asked(*extras) <= {name for name, _ in found}
    together = pins("runtime")
    assert {key: value for key, value in found.items() if key in together} == together


def test_every_dependency_has_its_reason() -> None:
    reasons = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")
    told = set(re.findall(r"[\w-]+", reasons))
    assert asked(*PROJECT["project"]["optional-dependencies"]) - told == set()


def test_wheel_carries_its_data(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    source = ROOT / "src"
    wanted = {
        path.relative_to(source).as_posix()
        for path in (source / "cabinwright").rglob("*")
        if path.is_file() and path.suffix not in (".pyc",) and not path.name.startswith(".")
    }
    assert {"cabinwright/findings.toml", "cabinwright/build/starter.toml", "cabinwright/tables/roles.csv"} <= wanted
    assert any(name.endswith(".html.j2") for name in wanted)
    assert wanted - names == set()
    assert any(name.endswith("licenses/LICENSE") for name in names)
    entry = next(name for name in names if name.endswith("entry_points.txt"))
    assert "cabinwright = cabinwright.cli.main:main" in zipfile.ZipFile(wheel).read(entry).decode()


def rows(heading: str, page: str = "docs/tuning.md") -> list[list[str]]:
    """Cells of the table whose first line begins so."""
    lines = (ROOT / page).read_text(encoding="utf-8").splitlines()
    start = next(k for k, line in enumerate(lines) if line.startswith(heading))
    table = []
    for line in lines[start:]:
        if not line.startswith("|"):
            break
        table.append([cell.strip() for cell in line.strip("|").split("|")])
    return [table[0], *table[2:]]


def test_documented_defaults_are_the_ones_used() -> None:
    hertz, level = rows("| Hz |")
    assert tuple((float(f), float(g)) for f, g in zip(hertz[1:], level[1:], strict=True)) == DEFAULT_CURVE
    tables = ROOT / "src" / "cabinwright" / "tables"
    with (tables / "roles.csv").open(encoding="utf-8", newline="") as file:
        used = [[row["role"], f"{row['safe_low_hz']} Hz", f"{row['safe_high_hz']} Hz"] for row in csv.DictReader(file)]
    assert sorted(rows("| role |")[1:]) == sorted(used)
    with (tables / "crossovers.csv").open(encoding="utf-8", newline="") as file:
        ranges = [
            [row["lower"], f"{row['low_hz']} and {row['high_hz']} Hz", f"{row['usual_hz']} Hz"]
            for row in csv.DictReader(file)
        ]
    assert sorted([row[0], *row[2:]] for row in rows("| from |")[1:]) == sorted(ranges)


def test_every_verdict_is_documented() -> None:
    findings = tomllib.loads((ROOT / "src" / "cabinwright" / "findings.toml").read_text(encoding="utf-8"))
    limits = {row[0].strip("`"): row[2] for row in rows("| finding |", "docs/recording.md")[1:]}
    assert set(limits) == {code for code in findings if code.startswith("recording-")}
    used = {
        "recording-clipped": f"{faults.PINNED} samples",
        "recording-quiet": f"{faults.SNR_LIMIT_DB:g} dB",
        "recording-no-sweep": f"{faults.ANY_SOUND_DB:g} dB",
        "recording-gap": f"{1e3 * faults.GAP_S:g} ms",
        "recording-distorted": f"{100 * faults.DISTORTION_USUAL:g} % in an octave; "
        f"{100 * faults.DISTORTION_LIMIT['woofer']:g} %",
        "recording-wrong-channel": f"{compare.SPECTRUM_DB:g} dB; {1e3 * compare.SIDE_S:g} ms",
        "recording-position": f"{100 * compare.PLACE_M:g} cm; {100 * compare.PLACE_SWAP_M:g} cm",
        "recording-filter-undone": f"{recorded_with.MOST_DB:g} dB",
        "recording-late": f"{1e3 * zero.LONG_S:g} ms",
    }
    for code, limit in used.items():
        assert limits[code].startswith(limit), f"docs/recording.md: {code} is {limit} in the code"
    assert f"up to {1e6 * take.DRIFT_LIMIT:g} ppm" in (ROOT / "docs" / "recording.md").read_text(encoding="utf-8")
