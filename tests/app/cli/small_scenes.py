"""A set-up whose numbers can be worked out by hand: a drill beside a post, on a machine without table axes.

The nut of radius 14 stands at height 40 over the tip. The post is 60 high, its face `gap` from the nut. The drill
goes 10 deep into a plate 20 high, so the nut's lower edge is 30 over the plate: the post is what is nearest. There
is one cut and nothing turns, so there is no link and no swing.
"""

from __future__ import annotations

from pathlib import Path

NUT_RADIUS = 14.0
POST_HALF = 5.0

MACHINE = """\
format: 1
units: mm
title: "plain"
linear_axes:
  x: {limits: [-200, 200], moves: head}
  y: {limits: [-200, 200], moves: head}
  z: {limits: [50, 400], moves: head}
operator: -Y
spindle:
  nose: [[60, 25]]
"""

SCENE = """\
format: 1
units: mm
title: "Drill beside a post"
machine: plain.machine.yaml
keep_off: {{cut: 2.0, swing: 5.0}}
setup_errors: {{location: 0, body_model: {body_model}, diameters: 0, stick_out: 0, tilt_deg: 0}}
workpiece:
  zero: {{rides_on: table, at: [0, 0, 20]}}
  states:
    plate: [{{name: plate, box: [30, 30, 20], at: [0, 0, -20]}}]
bodies:
  - {{name: post, rides_on: table, box: [10, 10, 60], at: [0, {post_y}, 0]}}
holders:
  H: {{profile: [[28, 20, nut], [30, 30]]}}
tools:
  - {{id: T1, kind: drill, d: 6, flute: {flute}, shank: 6, point_deg: 180, overall: 80, stick_out: 40, holder: H}}
retract: {retract}
orientations:
  - name: top
    cuts:
      - {{name: hole, tool: T1, state: plate, hole: {{at: [0, 0, 0], depth: 10}}}}
{more}"""


def write_scene(
    folder: Path, *, gap: float, body_model: float = 0.0, flute: float = 30, retract: float = 50, more: str = ""
) -> Path:
    """Write the machine and the scene; the post stands behind the tool."""
    (folder / "plain.machine.yaml").write_text(MACHINE, encoding="utf-8")
    file = folder / "post.scene.yaml"
    post_y = NUT_RADIUS + gap + POST_HALF
    text = SCENE.format(body_model=body_model, post_y=post_y, flute=flute, retract=retract, more=more)
    file.write_text(text, encoding="utf-8")
    return file
