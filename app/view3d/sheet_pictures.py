"""Pictures for paper: the set-up as it must stand, and each watched place across its gap and through the door.

1. The set-up is seen as the operator sees it, the table at home, the tool away, the workpiece as the first cut finds
   it. What is labelled shows its edges through whatever hides it.
2. Labels are not drawn into the picture: their places are told, so that whoever prints it writes them with its own
   letters.
3. In a picture of a watched place only the gap's number is written, as large as the smallest print on the sheet.
4. What this file does not know: paper, fonts, what is written beside a picture.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.jobs.results import CutResult
from app.view3d.cameras import (
    DOOR_ANGLE_DEG,
    LOOK_DOWN_DEG,
    Camera,
    Size,
    View,
    _fitted,
    _level_and_side_deg,
    _up_for,
    door_directions,
    in_the_way,
)
from app.view3d.gap_mark import GapLabel
from app.view3d.picture_order import PictureOrder
from app.view3d.pictures import Wanted, picture_order
from app.view3d.scene_meshes import DisplayBody, DisplayScene, MeshCache, Role
from app.view3d.styles import Style
from kinematics.machine import BED, HEAD, W, frame_poses
from kinematics.pose import Array, Vector, as_vector, identity
from kinematics.prepared import Prepared
from kinematics.scene import Cut, Orientation
from kinematics.shapes import Screw
from kinematics.verdict import Verdict
