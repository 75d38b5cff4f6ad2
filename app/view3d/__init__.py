"""Pictures of a set-up: what is drawn, from where, and the drawing itself."""
