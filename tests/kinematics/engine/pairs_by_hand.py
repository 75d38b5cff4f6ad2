"""The one place where tests of distances meet the engine: solids given as numbers, placed by hand."""

from kinematics.assembly import tool_assembly
from kinematics.engine.exact_pair import body_tree, exact_clearance, move_sets, round_part
from kinematics.engine.pair import (
    DIRECTIONS,
    Clear,
    Contact,
    Obstacle,
    ObstaclePiece,
    TreeCache,
    pair_clearance,
    position_tree,
)
from kinematics.engine.sweep import PolyPiece, Positions, RoundPiece, hull
from kinematics.mesh_topology import count_open_edges
from kinematics.meshes import Mesh
from kinematics.pose import Pose
from kinematics.scene import Holder, HolderStep, Tool
from kinematics.shapes import MeshShape
from kinematics.solids import pieces

__all__ = ["Clear", "Contact", "Positions", "clearance", "cutter_of", "frusta", "head_box", "mesh_shape"]


def frusta(*sizes):
    """A part of frusta (r1, r2, z1, z2): what covers it, and itself."""
    real = tuple(RoundPiece("part", *size) for size in sizes)
    return tuple((p, p.supports(DIRECTIONS)) for p in real), real


def cutter_of(**numbers):
    """The cutter of a tool of these numbers: what covers it from outside, and what lies inside."""
    holder = Holder("h", (HolderStep(40.0, 40.0, 40.0),))
    assembly = tool_assembly(Tool("T", holder=holder, stick_out=60.0, **numbers))
    outer, inner = assembly.slices_of("cutter")
    around = [RoundPiece("cutter", s.r1, s.r2, s.z1, s.z2) for s in outer]
    real = tuple(RoundPiece("cutter", s.r1, s.r2, s.z1, s.z2) for s in inner)
    return tuple((p, p.supports(DIRECTIONS)) for p in around), real


def head_box(corners):
    """A part of the head that is not round: the hull of its corners (n, 3) over the tip."""
    piece = PolyPiece("part", hull(corners), hull(corners))
    return ((piece, piece.supports(DIRECTIONS)),), ()


def mesh_shape(vertices, faces, *, chord_error=0.0):
    """A mesh as a shape; open edges are counted."""
    faces = faces.astype("int32")
    return MeshShape(Mesh(vertices, faces, count_open_edges(faces, len(vertices)), chord_error, "a mesh"))


def clearance(part, shape, R, p, *positions, trees=None):
    """Clearance of a part over all positions against a shape turned by R and put at p, in W, as a cut finds it.

    Round parts by the exact engine; contacts, and parts that are not round, by polyhedra.
    """
    around, real = part
    if real:
        move = move_sets([Positions(s.points, s.up, 0.0, s.arc) for s in positions])
        down = {s.down for s in positions}
        assert len(down) == 1, "one stick-out, one error of it"
        round_one = round_part([piece for piece, _ in around], real)
        found = exact_clearance(round_one, move, down.pop(), body_tree(pieces(shape)), Pose("W", "G", R, p))
        if found is not None:
            return found
    return clearance_by_polyhedra(part, shape, R, p, *positions, trees=trees)


def clearance_by_polyhedra(part, shape, R, p, *positions, trees=None):
    """The same by polyhedra alone: the peer of the exact engine, and the home of contacts."""
    trees = trees or TreeCache()
    around, real = part
    pose = Pose("W", "G", R, p)
    obstacle = Obstacle("obstacle", tuple(ObstaclePiece(piece, pose, trees) for piece in pieces(shape)))
    return pair_clearance(around, real, obstacle, position_tree(positions), trees)
