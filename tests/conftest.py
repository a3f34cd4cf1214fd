"""What pytest should not look into: a module that takes the network away from the interpreter that loads it."""

collect_ignore = ["batch/no_network"]
