#!/usr/bin/env python3
"""Takes with many faults of some kinds each, for fits that need more of them than people make.

  many_faults.py GROUND --faults extra=5,dead=3 -- --out DIR --seed 1 --count 60 --kinds notes,leak …

GROUND is the folder of make_takes.py; what follows `--` are its own options.  The same arguments give the
same samples.  Needs what make_takes.py needs."""
import sys
from pathlib import Path


def main():
    if "--" not in sys.argv or "--faults" not in sys.argv:
        sys.exit(__doc__)
    split = sys.argv.index("--")
    own, theirs = sys.argv[1:split], sys.argv[split + 1:]
    wanted = own[own.index("--faults") + 1].split(",")
    faults = {name: int(count) for name, count in (fault.split("=") for fault in wanted)}
    sys.path.insert(0, str(Path(own[0]).resolve()))
    import make_takes
    from bassgen import specs

    few = specs._some
    specs._some = lambda rng, **most: few(rng, **most) | faults
    sys.argv = ["make_takes.py", *theirs]
    make_takes.main()


if __name__ == "__main__":
    main()
