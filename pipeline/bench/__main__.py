"""One command for every benchmark: python -m pipeline.bench NAME [options], e.g. `python -m pipeline.bench trends`."""

from __future__ import annotations

import importlib.util
import pkgutil
import sys

import pipeline.bench
from pipeline.errors import MatsideError


def main() -> int:
    """Run the benchmark of that name (dashes or underscores), with the options that follow; its module has a `main()`."""
    modules = [m.name for m in pkgutil.iter_modules(pipeline.bench.__path__) if not m.name.startswith("_")]
    names = {name.replace("_", "-"): name for name in modules if "def main(" in _text(name)}
    asked = sys.argv[1].replace("_", "-") if len(sys.argv) > 1 else ""
    if asked not in names:
        print(
            f"{'No benchmark ' + asked + '. ' if asked else ''}Benchmarks: {', '.join(sorted(names))}. Each takes --help.", file=sys.stderr
        )
        return 2
    del sys.argv[1]
    sys.argv[0] = f"python -m pipeline.bench {asked}"
    try:
        return int(importlib.import_module(f"pipeline.bench.{names[asked]}").main() or 0)
    except MatsideError as error:
        print(error, file=sys.stderr)
        return 1


def _text(name: str) -> str:
    spec = importlib.util.find_spec(f"pipeline.bench.{name}")
    with open(str(spec.origin), encoding="utf-8") as file:  # type: ignore[union-attr]
        return file.read()


if __name__ == "__main__":
    sys.exit(main())
