"""The core of Tightside: poses, machines, bodies, tools, and the clearances between them."""
