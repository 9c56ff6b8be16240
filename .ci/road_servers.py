"""Real road servers for the tests, from packages: OSRM and Valhalla over one small extract.

``python .ci/road_servers.py FOLDER`` fetches three wheels into FOLDER, checks their digests,
builds both graphs from the extract of central Helsinki that one of them ships (OpenStreetMap
contributors, ODbL), starts both servers on loopback and prints shell lines with their
addresses. Their process ids stand in FOLDER/pids. Linux on x86-64 only; anything else, or no
network, ends with 1 and a sentence.
"""

from __future__ import annotations

import hashlib
import platform
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import zipfile
from pathlib import Path

WHEELS = {
    "osrm-bindings==26.10.0": (
        "3.12",
        "840d6f82812eb9f9e17c71eb9083dfa15f3be2bfec4965c32aefa48b00d3a951",
    ),
    "pyvalhalla==3.9.1": (
        "3.12",
        "7b49c5e5f86cefd555b473aaaf34df3305889d30aa889b8abd3b4c2acc622271",
    ),
    "pyrosm==0.25.0": (
        "3.11",
        "fa1d064dd69df2dcffdce9083faa001e9d84b37a82e34cdb763f492573406ced",
    ),
}
PLATFORMS = ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64")
STEP_SECONDS = 60
MOST_PAIRS = "100000"


def main(folder: Path) -> None:
    """Fetch, build, start, tell."""
    if (sys.platform, platform.machine()) != ("linux", "x86_64"):
        sys.exit("road servers: their wheels are for Linux on x86-64")
    folder.mkdir(parents=True, exist_ok=True)
    for requirement, (python, digest) in WHEELS.items():
        fetch(requirement, python, digest, folder)
    for program in [*folder.glob("*/bin/*")]:
        program.chmod(0o755)
    extract = folder / "pyrosm" / "data" / "Helsinki.osm.pbf"
    ports = free_ports(2)
    pids = [osrm(folder, extract, ports[0]), valhalla(folder, extract, ports[1])]
    (folder / "pids").write_text(" ".join(str(pid) for pid in pids))
    addresses = [f"http://127.0.0.1:{port}" for port in ports]
    wait_for(f"{addresses[0]}/nearest/v1/driving/24.93,60.165")
    wait_for(f"{addresses[1]}/status")
    print(f"export EBBMARK_OSRM_URL={addresses[0]}")
    print(f"export EBBMARK_VALHALLA_URL={addresses[1]}")


def fetch(requirement: str, python: str, digest: str, folder: Path) -> None:
    """One wheel by the ordinary client, unpacked when its digest is the one expected."""
    into = folder / "wheels"
    run(
        *pip(), "download", "--quiet", "--disable-pip-version-check", "--no-deps",
        "--only-binary=:all:", "--implementation=cp", f"--python-version={python}",
        f"--abi=cp{python.replace('.', '')}", "--abi=abi3",
        *(f"--platform={name}" for name in PLATFORMS), f"--dest={into}", requirement,
    )  # fmt: skip
    name = requirement.partition("==")[0].replace("-", "_")
    (wheel,) = into.glob(f"{name}-*.whl")
    if hashlib.sha256(wheel.read_bytes()).hexdigest() != digest:
        sys.exit(f"road servers: {wheel.name} is not the file expected")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder)


def pip() -> list[str]:
    """A Python that has pip; an environment made by other means has none of its own."""
    for python in (sys.executable, "python3"):
        found = subprocess.run([python, "-m", "pip", "--version"], capture_output=True, check=False)
        if found.returncode == 0:
            return [python, "-m", "pip"]
    sys.exit("road servers: no pip to fetch them with")


def osrm(folder: Path, extract: Path, port: int) -> int:
    """Contract the roads for cars and serve them; the process id."""
    programs, here = folder / "osrm" / "bin", folder / "osrm-graph"
    here.mkdir(exist_ok=True)
    map_file = here / "streets.osm.pbf"
    map_file.write_bytes(extract.read_bytes())
    profile = folder / "osrm" / "share" / "profiles" / "car.lua"
    run(programs / "osrm-extract", "-p", profile, map_file, cwd=here)
    run(programs / "osrm-contract", here / "streets.osrm", cwd=here)
    return start(
        folder / "osrm.log", programs / "osrm-routed", "-i", "127.0.0.1", "-p", port,
        "--max-table-size", "1000", here / "streets.osrm",
    )  # fmt: skip


def valhalla(folder: Path, extract: Path, port: int) -> int:
    """Build the tiles and serve them; the process id."""
    programs, settings = folder / "valhalla" / "bin", folder / "valhalla.json"
    written = run(
        sys.executable, folder / "valhalla" / "valhalla_build_config.py",
        "--mjolnir-tile-dir", folder / "tiles", "--httpd-service-listen", f"tcp://127.0.0.1:{port}",
        "--service-limits-auto-max-matrix-location-pairs", MOST_PAIRS,
        "--service-limits-truck-max-matrix-location-pairs", MOST_PAIRS,
    )  # fmt: skip
    settings.write_text(written)
    run(programs / "valhalla_build_tiles", "-c", settings, extract)
    return start(folder / "valhalla.log", programs / "valhalla_service", settings, 1)


def run(*command: object, cwd: Path | None = None) -> str:
    """What a command writes; its last words and 1 when it fails."""
    words = [str(word) for word in command]
    try:
        done = subprocess.run(
            words, cwd=cwd, capture_output=True, text=True, timeout=STEP_SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as fault:
        sys.exit(f"road servers: {fault}")
    if done.returncode != 0:
        sys.exit(f"road servers: {words[0]} failed: {(done.stderr or done.stdout)[-400:]}")
    return done.stdout


def start(log: Path, *command: object) -> int:
    """Start a server that outlives this program."""
    with log.open("wb") as out:
        server = subprocess.Popen(
            [str(word) for word in command], stdout=out, stderr=out, start_new_session=True
        )
    return server.pid


def free_ports(count: int) -> list[int]:
    """Ports of the loopback that nobody uses now."""
    sockets = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [int(each.getsockname()[1]) for each in sockets]
    for each in sockets:
        each.close()
    return ports


def wait_for(url: str) -> None:
    """Until the server answers, at most half a minute."""
    end = time.monotonic() + STEP_SECONDS / 2
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    sys.exit(f"road servers: {url} does not answer")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
