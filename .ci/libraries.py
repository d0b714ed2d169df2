"""Print every library the program installs: lowest version promised, version here, licence.

Run by the Python of an environment that holds the program: ``.venv/bin/python .ci/libraries.py``. Ends with
exit code 1 where a library states no licence. What it states is its own word, from its metadata.
"""

import sys
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution, version

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

EXTRAS = ("", "codes", "imagery", "scale")


def needed(name: str, extra: str = "") -> Iterator[Requirement]:
    """Give what a distribution requires on this machine, with one of its extras."""
    for line in distribution(name).requires or ():
        wanted = Requirement(line)
        if wanted.marker is None or wanted.marker.evaluate({"extra": extra}):
            yield wanted


def licence(found: Distribution) -> str:
    """Give the licence a library states: as an expression, by its classifiers, or in a word."""
    about = found.metadata
    classes = [line.rpartition(" :: ")[2] for line in about.get_all("Classifier", ()) if "License ::" in line]
    named = " AND ".join(one for one in classes if one != "OSI Approved")
    return about.get("License-Expression") or named or (about.get("License") or "").strip().partition("\n")[0]


def main() -> int:
    """Print them, those of an extra marked."""
    waiting = [(wanted, extra) for extra in EXTRAS for wanted in needed("loamwright", extra)]
    promised = {canonicalize_name(wanted.name): str(wanted.specifier) for wanted, _extra in waiting}
    rows: dict[str, tuple[str, str, str]] = {}
    missing: dict[str, str] = {}
    for wanted, extra in waiting:  # grows as it is read
        name = canonicalize_name(wanted.name)
        if name in rows or name in missing:
            continue
        try:
            rows[name] = (version(name), licence(distribution(name)), extra)
        except PackageNotFoundError:
            missing[name] = extra
            continue
        waiting += [(more, extra) for more in needed(name)]
    print(f"{'library':24} {'promised':12} {'here':18} licence; Python {sys.version.split()[0]}")
    for name, (here, words, extra) in sorted(rows.items()):
        of_extra = f"  [{extra}]" if extra else ""
        print(f"{name:24} {promised.get(name, ''):12} {here:18} {words or 'STATES NONE'}{of_extra}")
    for name, extra in missing.items():
        print(f"{name:24} {promised.get(name, ''):12} {'not installed':18} [{extra}]")
    return 0 if all(words for _here, words, _extra in rows.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
