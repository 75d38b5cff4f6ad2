"""Who may import whom, what has only one home, and what nobody may call: read from every module's source.

The table below is the one of DEVELOPERS.md; change both together, in a commit of their own. The rules stand as
functions of (path, source), so that each is also shown to catch what it is there for.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("kinematics", "app")
MAX_LINES = 600


@dataclass(frozen=True)
class Layer:
    """What one package may import besides the standard library and itself. `late` only inside functions."""

    own: frozenset[str]
    outside: frozenset[str]
    late: frozenset[str] = frozenset()


def _layer(own: str, outside: str, late: str = "") -> Layer:
    return Layer(frozenset(own.split()), frozenset(outside.split()), frozenset(late.split()))


LAYERS = {
    "kinematics": _layer("kinematics", "numpy scipy numba"),
    "app.scenes": _layer("kinematics app.scenes", "numpy ruamel pydantic pydantic_core"),
    "app.jobs": _layer("kinematics app.scenes app.jobs", "numpy reportlab PIL"),
    "app.cli": _layer(
        "kinematics app.scenes app.jobs app.cli",
        "rich",
        late="app.view3d.pictures app.view3d.sheet_pictures app.view3d.page_pictures",
    ),
    "app.view3d": _layer("kinematics app.scenes app.jobs app.view3d", "numpy PySide6 pyvista vtkmodules"),
    "app.window": _layer("kinematics app.scenes app.jobs app.view3d app.window", "numpy PySide6"),
    "app.__main__": _layer("", "", late="app.cli app.window"),
}

# A library that only some files of a layer may import, and those files.
ONLY_HOMES = {
    "fcl": re.compile(r"kinematics/engine/fcl_engine\.py"),
    "trimesh": re.compile(r"kinematics/(meshes|mesh_\w+|step_worker)\.py"),
    "cascadio": re.compile(r"kinematics/(meshes|mesh_\w+|step_worker)\.py"),
    "manifold3d": re.compile(r"kinematics/removed\.py"),
    "shapely": re.compile(r"kinematics/moves/\w+\.py"),
    "numba": re.compile(r"kinematics/engine/compiled\.py"),
}

# The standard library's own ways to say something, which belong to the command line.
SPEAKING = frozenset({"logging", "argparse", "curses", "getpass"})

# W table, T cradle, R platter, P part zero, S spindle, L tip, G shape; A and B stand for any, C for a body's carrier.
FRAMES = "WTRPSLGABC"

FRONT_DOORS = ("app/cli/main.py", "app/window/engine_process.py")
PRINTER = "app/cli/output.py"
STARTED_APART = ("kinematics/step_worker.py",)  # runs in a process of its own and answers on standard output


def modules() -> list[Path]:
    return sorted(file for package in PACKAGES for file in (ROOT / package).rglob("*.py"))


def name_of(file: Path) -> str:
    return file.relative_to(ROOT).as_posix()


def layer_of(path: str) -> str | None:
    """The layer of a module; None for `app/__init__.py`, which imports nothing."""
    parts = path.removesuffix(".py").split("/")
    if parts[0] == "kinematics":
        return "kinematics"
    if path == "app/__init__.py":
        return None
    return f"{parts[0]}.{parts[1]}"


def imports(source: str) -> Iterator[tuple[int, str, bool]]:
    """Line, dotted name, and whether it is imported when the module is (not inside a function, not for types)."""

    def visit(node: ast.AST, *, is_late: bool) -> Iterator[tuple[int, str, bool]]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                yield from ((child.lineno, alias.name, not is_late) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"line {child.lineno}: imports are written in full"
                yield from ((child.lineno, f"{child.module}.{alias.name}", not is_late) for alias in child.names)
            else:
                types_only = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test)
                inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
                yield from visit(child, is_late=is_late or types_only or inside)

    yield from visit(ast.parse(source), is_late=False)


def is_below(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def import_faults(path: str, source: str) -> Iterator[str]:
    layer_name = layer_of(path)
    layer = LAYERS[layer_name] if layer_name else _layer("", "")
    for line, name, is_early in imports(source):
        where, top = f"{path}:{line}", name.partition(".")[0]
        if top in sys.stdlib_module_names:
            if top in SPEAKING and not path.startswith("app/cli/"):
                yield f"{where}: {top} belongs to the command line"
        elif top in ONLY_HOMES and layer_name == "kinematics":
            if not ONLY_HOMES[top].fullmatch(path):
                yield f"{where}: {top} has its home in {ONLY_HOMES[top].pattern}"
        elif not any(is_below(name, p) for p in layer.own | layer.outside) and (
            is_early or not any(is_below(name, p) for p in layer.late)
        ):
            yield f"{where}: {layer_name or path} may not import {name}"


def joined_poses(node: ast.AST) -> Iterator[tuple[int, str, str]]:
    """Line and names of poses that stand side by side in a product."""

    def names(side: ast.expr) -> list[str | None]:
        if isinstance(side, ast.BinOp) and isinstance(side.op, ast.MatMult):
            return [*names(side.left), *names(side.right)]
        name = side.id if isinstance(side, ast.Name) else side.attr if isinstance(side, ast.Attribute) else None
        # a field R_AB is that of any pose: which frames A and B are, its owner knows
        return [None if isinstance(side, ast.Attribute) and side.attr.endswith("_AB") else name]

    for child in ast.walk(node):
        if isinstance(child, ast.BinOp) and isinstance(child.op, ast.MatMult):
            left, right = names(child.left)[-1], names(child.right)[0]
            if left and right:
                yield child.lineno, left, right


POSE = re.compile(r"_?[XR]_([A-Z])([A-Z])")
POINT = re.compile(r"p_([A-Z])[A-Z]")
POSE_LIKE = re.compile(r"_?[XR]_[A-Z]+")


def frame_faults(path: str, source: str) -> Iterator[str]:
    """Neighbouring letters that do not match, and letters that are no frames."""
    tree = ast.parse(source)
    for line, left, right in joined_poses(tree):
        a, b = POSE.fullmatch(left), POSE.fullmatch(right)
        if a and b and a[2] != b[1]:
            yield f"{path}:{line}: {left} @ {right}: {a[2]} and {b[1]} do not meet"
    for node in ast.walk(tree):
        name = node.id if isinstance(node, ast.Name) else node.arg if isinstance(node, ast.arg) else None
        if name and POSE_LIKE.fullmatch(name):
            letters = name.rpartition("_")[2]
            if len(letters) == 2 and not set(letters) <= set(FRAMES):
                yield f"{path}:{node.lineno}: {name}: the frames are {', '.join(FRAMES)}"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "points":
            owner = node.func.value
            pose = POSE.fullmatch(getattr(owner, "id", getattr(owner, "attr", "")))
            point = POINT.fullmatch(getattr(node.args[0], "id", "")) if node.args else None
            if pose and point and pose[2] != point[1]:
                yield f"{path}:{node.lineno}: {pose[0]}.points({point[0]}): {pose[2]} and {point[1]} do not meet"
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and isinstance(node.value, ast.BinOp):
            yield from _product_faults(path, node.targets[0].id, node)


def _product_faults(path: str, target: str, node: ast.Assign) -> Iterator[str]:
    """X_AC = X_AB @ X_BC: the ends of a product are those of its name."""
    chain: list[str] = []

    def collect(side: ast.expr) -> None:
        if isinstance(side, ast.BinOp) and isinstance(side.op, ast.MatMult):
            collect(side.left)
            collect(side.right)
        else:
            chain.append(side.id if isinstance(side, ast.Name) else "")

    collect(node.value)
    whole, ends = POSE.fullmatch(target), (POSE.fullmatch(chain[0]), POSE.fullmatch(chain[-1]))
    if len(chain) > 1 and whole and ends[0] and ends[1] and (whole[1], whole[2]) != (ends[0][1], ends[1][2]):
        yield f"{path}:{node.lineno}: {target} is called what {chain[0]} @ ... @ {chain[-1]} is not"


FORBIDDEN_CALLS = {
    "np.empty": "unset memory can read as a distance",
    "np.empty_like": "unset memory can read as a distance",
    "numpy.empty": "unset memory can read as a distance",
    "os.chdir": "the working folder belongs to the user's shell",
    "fcl.continuousCollide": "it misses turning hits",
    "fcl.Cone": "distances to cones are wrong in aligned poses",
    "fcl.Cylinder": "distances to cylinders are wrong in aligned poses",
    "fcl.Convex": "distances to convex shapes are wrong in aligned poses",
    "fcl.Sphere": "a degenerate triangle makes the distance 0",
}


def forbidden_calls(path: str, source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called in FORBIDDEN_CALLS:
                yield f"{path}:{node.lineno}: {called}: {FORBIDDEN_CALLS[called]}"
            speaks = called == "print" or called.startswith(("sys.stdout.", "sys.stderr."))
            if speaks and not path.startswith("app/cli/") and path not in STARTED_APART:
                yield f"{path}:{node.lineno}: only the command line prints"
        if isinstance(node, ast.ExceptHandler):
            caught = "" if node.type is None else ast.unparse(node.type)
            if not caught:
                yield f"{path}:{node.lineno}: a bare except hides everything, Ctrl-C too"
            elif re.search(r"\b(Base)?Exception\b", caught) and not _passes_on(node) and path not in FRONT_DOORS:
                yield f"{path}:{node.lineno}: only the front doors catch {caught}"


def _passes_on(handler: ast.ExceptHandler) -> bool:
    """Whether a handler ends by raising what it caught: it only tidies up."""
    last = handler.body[-1]
    return isinstance(last, ast.Raise) and last.exc is None


def line_faults(path: str, source: str) -> Iterator[str]:
    n_lines = source.count("\n")
    if n_lines > MAX_LINES:
        yield f"{path}: {n_lines} lines; expected at most {MAX_LINES}: split it by subject"
    if path.rpartition("/")[2] in ("utils.py", "helpers.py", "base.py", "common.py"):
        yield f"{path}: a module is called after its subject"


RULES = (import_faults, frame_faults, forbidden_calls, line_faults)


@pytest.mark.parametrize("file", modules(), ids=name_of)
def test_that_every_module_keeps_the_rules(file: Path) -> None:
    source = file.read_text(encoding="utf-8")
    faults = [fault for rule in RULES for fault in rule(name_of(file), source)]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("file", sorted((ROOT / "tests").rglob("*.py")), ids=name_of)
def test_that_no_test_module_is_longer_than_a_module_may_be(file: Path) -> None:
    faults = [*line_faults(name_of(file), file.read_text(encoding="utf-8"))]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("kinematics/pairs.py", "import app.scenes.reader"),
        ("kinematics/pairs.py", "from fcl import CollisionObject"),
        ("kinematics/pairs.py", "def f():\n    import trimesh"),
        ("kinematics/pairs.py", "import logging"),
        ("kinematics/clearance.py", "import rich"),
        ("app/scenes/reader.py", "from app.jobs.check import check_scene"),
        ("app/scenes/reader.py", "import PySide6.QtCore"),
        ("app/jobs/check.py", "from app.cli.main import main"),
        ("app/jobs/check.py", "import fcl"),
        ("app/cli/main.py", "from app.window import main_window"),
        ("app/cli/main.py", "from app.view3d.pictures import picture"),
        ("app/view3d/actors.py", "from app.window.document import Document"),
        ("app/window/document.py", "def f():\n    from app.cli.output import table"),
        ("app/__main__.py", "from app.cli.main import main"),
        ("kinematics/pose.py", "X_WG = X_WT @ X_RP"),
        ("kinematics/pose.py", "y = a.X_WT @ b.X_GR @ X_RP"),
        ("kinematics/pose.py", "X_WG = X_WR @ X_RP"),
        ("kinematics/pose.py", "X_WQ = f()"),
        ("kinematics/pose.py", "p_WA = X_WG.points(p_PA)"),
        ("kinematics/pose.py", "x = np.empty(3)"),
        ("kinematics/pose.py", "print(1)"),
        ("app/jobs/check.py", "sys.stderr.write('x')"),
        ("app/jobs/check.py", "try:\n    f()\nexcept:\n    g()"),
        ("app/jobs/check.py", "try:\n    f()\nexcept (ValueError, Exception):\n    g()"),
        ("app/jobs/check.py", "os.chdir('x')"),
        ("kinematics/engine/fcl_engine.py", "fcl.Cone(1, 2)"),
        ("app/jobs/utils.py", ""),
        ("app/jobs/check.py", "x = 1\n" * 601),
    ],
)
def test_that_each_rule_catches_what_it_is_there_for(path: str, source: str) -> None:
    assert [fault for rule in RULES for fault in rule(path, source)]


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("kinematics/pose.py", "X_WG = X_WT @ X_TR @ X_RP @ X_PG\np_WA = X_WG.points(p_GA)"),
        ("kinematics/pose.py", "X_WG = poses[carrier] @ X_CG"),
        ("kinematics/engine/fcl_engine.py", "import fcl"),
        ("app/cli/main.py", "def f():\n    from app.view3d.pictures import picture\n    import rich.table"),
        ("app/cli/main.py", "try:\n    f()\nexcept Exception:\n    g()"),
        ("app/scenes/edits.py", "try:\n    f()\nexcept BaseException:\n    g()\n    raise"),
        ("app/__main__.py", "def main():\n    from app.cli.main import main"),
        ("app/jobs/check.py", "from typing import TYPE_CHECKING\nfrom kinematics.scene import Scene"),
    ],
)
def test_that_the_rules_let_right_code_pass(path: str, source: str) -> None:
    assert not [fault for rule in RULES for fault in rule(path, source)]


DISTRIBUTION = {
    "fcl": "python-fcl",
    "ruamel": "ruamel.yaml",
    "pydantic_core": "pydantic",
    "PIL": "pillow",
    "vtkmodules": "vtk",
    "PySide6": "PySide6-Essentials",
}


def test_that_what_is_imported_is_what_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=~! \[;]", line)[0] for line in project["dependencies"]}
    used = set()
    for file in modules():
        for _, name, _ in imports(file.read_text(encoding="utf-8")):
            top = name.partition(".")[0]
            if top not in sys.stdlib_module_names and top not in PACKAGES:
                used.add(DISTRIBUTION.get(top, top))
    assert declared == used


def test_that_every_pinned_release_is_exact_and_every_dependency_is_pinned() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {re.split(r"[<>=~! \[;]", line)[0].lower().replace("_", "-") for line in wanted}
    pinned = set()
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            exact = re.fullmatch(r"([A-Za-z0-9._-]+)==([A-Za-z0-9.]+)( ; .+)?", line)
            assert exact, f"{line!r} is no exact version"
            pinned.add(exact[1].lower().replace("_", "-"))
    assert names <= pinned
