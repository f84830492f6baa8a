"""Jobs and the readings in them: opened, logged, corrected, told."""
