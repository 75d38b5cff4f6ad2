"""One file per panel; a panel is handed frozen values and says what was done by signals."""
