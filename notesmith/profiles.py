"""Named settings instead of knobs."""

from __future__ import annotations

import msgspec

from notesmith.errors import CourseError


class Profile(msgspec.Struct, frozen=True):
    """How carefully a recording is listened to.

    ``beam_size`` is the recogniser's; ``witness`` says whether the sound itself is asked about doubtful words.
    """

    name: str
    beam_size: int
    witness: bool


FAST = Profile("fast", beam_size=1, witness=False)
ACCURATE = Profile("accurate", beam_size=5, witness=True)
TESTING = Profile("testing", beam_size=1, witness=False)  # the cheapest that still uses the real model
PROFILES = {profile.name: profile for profile in (FAST, ACCURATE, TESTING)}


def profile_named(name: str) -> Profile:
    """Raises CourseError for an unknown name."""
    try:
        return PROFILES[name]
    except KeyError:
        raise CourseError(f"there is no profile {name!r}; use one of {', '.join(PROFILES)}") from None
