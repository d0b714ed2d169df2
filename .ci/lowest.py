"""Print the lowest version of each dependency that pyproject.toml promises, as constraints for pip."""

import re
import tomllib
from pathlib import Path

with (Path(__file__).parents[1] / "pyproject.toml").open("rb") as file:
    promised = tomllib.load(file)["project"]["dependencies"]
for one in promised:
    name, least = re.fullmatch(r"([\w-]+)>=([\w.]+).*", one).groups()
    print(f"{name}=={least}")
