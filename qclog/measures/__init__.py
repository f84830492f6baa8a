"""What a reading is worth, once: interval to number, over positions, derivation, judging, and which places are wanted.

Everything that shows, judges or charts a reading takes it from here, so that no two screens can differ.
"""
