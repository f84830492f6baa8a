"""The statistics: pure functions in, frozen results out.

Every function takes plain one-dimensional sequences (lists, NumPy arrays, polars Series) of finite numbers
in one unit, and answers in that unit. Every result carries the settings that made it, `n`, and `warnings`
in plain words. Missing readings are never dropped in silence: leave them out before calling.

Import the topic that is needed (`from qclog.stats.charts import limits`); this file imports nothing, so that a
command that needs no statistics does not wait for SciPy.
"""
