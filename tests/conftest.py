"""What pytest should not look into: a module that takes the network away from the interpreter that loads it. And no test is timed."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
collect_ignore = ["batch/no_network"]
