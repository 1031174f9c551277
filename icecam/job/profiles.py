"""Machines to start from: a name in, the values of a `[machine]` table out.

Each is a TOML file in `icecam/job/machines`, named as its profile with a dash for each blank. All
their values are assumed: common practice, no source.
"""

import tomllib
from collections.abc import Mapping
from importlib import resources
from typing import Any, Final, get_args

from icecam.job.records import Profile

PROFILES: Final[tuple[Profile, ...]] = get_args(Profile)


def profile_values(profile: Profile) -> Mapping[str, Any]:
    """Return what a profile says of its machine, as it stands in its file.

    >>> profile_values("light gantry")["travel"]
    [1100, 700, 390]
    """
    name = f"{profile.replace(' ', '-')}.toml"
    file = resources.files("icecam.job").joinpath("machines", name)
    return tomllib.loads(file.read_text(encoding="utf-8"))
