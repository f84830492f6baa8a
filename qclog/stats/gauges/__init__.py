"""How well a gauge and those who read it measure: bias, gauge studies, agreement."""
