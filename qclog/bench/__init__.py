"""The arithmetic of the bench: pure functions, floats in one unit, answers with their uncertainty and their sum.

Inputs are `estimate.Estimate` (a value and its standard uncertainty), all of one unit unless a docstring says
otherwise. Results are frozen; most are an `answer.Answer`, which carries one line that can be checked by hand.
Bad input raises InputError. This file imports nothing, so that a command needs only the topic it uses.
"""
