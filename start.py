"""Make Tightside ready in a folder of its own, .venv beside this file, and start it.

python3 start.py            checks the demo set-up
python3 start.py test       runs the whole test suite, on a virtual screen where there is none

Standard library only, and written so that an older Python still reads it and can say what it lacks.
"""

import ctypes.util
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

LOWEST, BELOW = (3, 11), (3, 15)  # as in pyproject.toml
ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
DEMO = Path("sample_scenes", "sampler_block_b", "sampler_block_b.scene.yaml")

# What has to be on a Linux machine beside Python: a library or program, and the Debian package that brings it.
FOR_PYTHON = {"ensurepip": "python3-venv"}
FOR_CHECKS = {"stdc++": "libstdc++6"}
FOR_SCREEN = {"Xvfb": "xvfb", "xvfb-run": "xvfb", "xauth": "xauth"}
FOR_WINDOW = {
    "EGL": "libegl1",
    "GL": "libgl1",
    "gallium": "libgl1-mesa-dri",
    "glib-2.0": "libglib2.0-0",
    "xkbcommon": "libxkbcommon0",
    "dbus-1": "libdbus-1-3",
    "fontconfig": "libfontconfig1",
    "xcb-cursor": "libxcb-cursor0",
    "xcb-icccm": "libxcb-icccm4",
    "xcb-keysyms": "libxcb-keysyms1",
    "xcb-shape": "libxcb-shape0",
    "xcb-xkb": "libxcb-xkb1",
    "xkbcommon-x11": "libxkbcommon-x11-0",
}


def main(arguments: list) -> int:
    if arguments not in ([], ["test"]):
        print("usage: python3 start.py [test]", file=sys.stderr)
        return 2
    if not LOWEST <= sys.version_info[:2] < BELOW:
        return say_python()
    is_test = arguments == ["test"]
    settle_system(is_test)
    status = install("test" if is_test else "")
    if status != 0:
        return status
    compile_engine()
    return run_tests() if is_test else run_demo()


def say_python() -> int:
    minors = range(BELOW[1] - 1, LOWEST[1] - 1, -1)
    others = [name for name in (f"python3.{minor}" for minor in minors) if shutil.which(name)]
    hint = f"; this machine has {others[0]}: run {others[0]} start.py" if others else ""
    expected = f"expected 3.{LOWEST[1]} to 3.{BELOW[1] - 1}"
    print(f"this is Python {sys.version_info[0]}.{sys.version_info[1]}; {expected}{hint}", file=sys.stderr)
    return 1


def settle_system(is_test: bool) -> None:  # noqa: FBT001 - the one switch of this script
    """On Linux: find what is missing on the machine, install it as root on Debian, else say it."""
    if not sys.platform.startswith("linux"):
        return
    wanted = dict(FOR_PYTHON, **FOR_CHECKS)
    if is_test:
        wanted.update(FOR_WINDOW, **({} if has_display() else FOR_SCREEN))
    missing = {name: package for name, package in wanted.items() if not is_there(name)}
    packages = sorted(set(missing.values()))
    if packages and os.geteuid() == 0 and shutil.which("apt-get"):
        print("installing Debian packages: " + " ".join(packages), flush=True)
        options = ["-y", "-qq", "-o=Dpkg::Use-Pty=0", "--no-install-recommends"]
        quiet = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
        for command in (["update", "-qq"], ["install", *options, *packages]):
            subprocess.call(["apt-get", *command], env=quiet, stdout=subprocess.DEVNULL)
        missing = {name: package for name, package in missing.items() if not is_there(name)}
    for name, package in sorted(missing.items()):
        print(f"missing on this machine: {name} (Debian package {package})", file=sys.stderr)
    if missing:
        line = "apt-get update && apt-get install -y --no-install-recommends "
        print("on Debian, as root: " + line + " ".join(sorted(set(missing.values()))), file=sys.stderr)


def is_there(name: str) -> bool:
    if name == "ensurepip":
        return importlib.util.find_spec(name) is not None
    if name == "gallium":  # drivers that no linker path names
        return any(Path("/usr/lib").glob("*/dri/swrast_dri.so")) or Path("/usr/lib64/dri/swrast_dri.so").exists()
    return bool(shutil.which(name) or ctypes.util.find_library(name))


def has_display() -> bool:
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def python() -> Path:
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def install(extra: str) -> int:
    """Make .venv and install into it, unless that was done from the same files before."""
    inputs = [(ROOT / name).read_text(encoding="utf-8") for name in ("pyproject.toml", "constraints.txt")]
    state = hashlib.sha256("\0".join([sys.version, *inputs]).encode()).hexdigest()
    stamps = [VENV / "installed-with-test", VENV / f"installed-with-{extra or 'nothing'}"]
    if python().exists() and any(s.is_file() and s.read_text(encoding="utf-8") == state for s in stamps):
        return 0
    print(f"installing into {VENV} (once; some minutes)", flush=True)
    if subprocess.call([sys.executable, "-m", "venv", str(VENV)]) != 0:
        print(f"{VENV}: could not be made; remove the folder and try again", file=sys.stderr)
        return 1
    target = f"{ROOT}[{extra}]" if extra else str(ROOT)
    pip = [str(python()), "-m", "pip", "-qq", "--disable-pip-version-check", "install"]
    status = subprocess.call([*pip, "-c", str(ROOT / "constraints.txt"), "-e", target])
    if status != 0:
        print("the packages of pyproject.toml could not be installed; pip says why above", file=sys.stderr)
        return status
    stamps[1].write_text(state, encoding="utf-8")
    return 0


def compile_engine() -> None:
    """Beforehand, so that nobody waits for it later, and not in each process of the tests."""
    print("compiling the exact engine, unless that was done before (half a minute)", flush=True)
    if subprocess.call([str(python()), "-m", "kinematics.engine.compiled"], cwd=str(ROOT)) != 0:
        print("what was compiled could not be kept; it will be compiled again each time", file=sys.stderr)


def run_demo() -> int:
    tightside = python().with_name("tightside" + python().suffix).relative_to(ROOT)
    print(f"> {tightside} check {DEMO}", flush=True)
    return subprocess.call([str(python()), "-m", "app", "check", str(DEMO)], cwd=str(ROOT))


def run_tests() -> int:
    command = [str(python()), "-m", "pytest", "-n", str(min(os.cpu_count() or 1, 4)), "--dist", "worksteal"]
    if sys.platform.startswith("linux") and not has_display() and shutil.which("xvfb-run"):
        command = ["xvfb-run", "-a", "-s", "-screen 0 1920x1200x24", *command]
    return subprocess.call(command, cwd=str(ROOT))


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
