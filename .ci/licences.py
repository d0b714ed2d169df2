"""Print the licences of everything that loamwright installs, by what each package says of itself.

Run it with the Python it is installed in: `.venv/bin/python .ci/licences.py`. A package that only an extra
asks for has the extra behind it; an extra that is not installed is left out. A package that states no
licence, nor brings its text, ends the run with 1.
"""

import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from importlib import metadata

from packaging.requirements import Requirement

OWN = "loamwright"


def asked_by(name: str, extra: str) -> Iterator[str]:
    """Yield what a distribution asks for here, in the extra named (empty = always)."""
    for line in metadata.requires(name) or ():
        wanted = Requirement(line)
        if wanted.marker is None or wanted.marker.evaluate({"extra": extra}):
            yield re.sub(r"[-_.]+", "-", wanted.name).lower()


def behind(extra: str) -> set[str]:
    """Return everything that is installed for an extra: what it asks for, and what that asks for."""
    here = {re.sub(r"[-_.]+", "-", one.name).lower() for one in metadata.distributions()}
    found, waiting = set(), here.intersection(asked_by(OWN, extra))
    while waiting:
        name = waiting.pop()
        found.add(name)
        waiting |= here.intersection(asked_by(name, "")) - found
    return found


def licence(name: str) -> str:
    """Return the licence stated: the expression, else the classifiers, else the first line of a text."""
    about = metadata.metadata(name)
    if about.get("License-Expression"):
        return about["License-Expression"]
    told = [one for one in about.get_all("Classifier", []) if one.startswith("License")]
    classes = [one.rpartition(" :: ")[2] for one in told]
    files = [file for file in metadata.files(name) or () if re.search("(?i)licen[cs]e", file.name)]
    brought = [file.read_text() for file in files]
    texts = ["; ".join(one for one in classes if one != "OSI Approved"), about.get("License") or "", *brought]
    return next((line.strip() for text in texts for line in text.splitlines() if line.strip()), "")


def main() -> int:
    """Print the table; 1 when a package says nothing of its licence."""
    always = behind("")
    extras = dict.fromkeys(always, "")
    for extra in metadata.metadata(OWN).get_all("Provides-Extra", []):
        for name in behind(extra):
            extras.setdefault(name, f" ({extra})")
    by_licence = defaultdict(list)
    for name in sorted(extras, key=lambda name: (extras[name], name)):
        by_licence[licence(name)].append(name + extras[name])
    print("| licence, as stated | packages |\n|---|---|")
    for stated, names in sorted(by_licence.items()):
        print(f"| {stated or 'NOT STATED'} | {', '.join(names)} |")
    print(f"\n{len(always)} packages come with loamwright, {len(extras) - len(always)} more with its extras.")
    return 1 if "" in by_licence else 0


if __name__ == "__main__":
    sys.exit(main())
