"""A new set-up from a few answers: what is typed or clicked becomes a scene that reads without faults.

`answers.py` is what was answered; `tool_lines.py` and `orientation_lines.py` read what is typed, one per line;
`part_files.py` measures the part; `holding.py` and `scene_text.py` write the scene.
"""
