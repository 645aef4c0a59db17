"""The licence of every distribution that an installed Notesmith needs, as each declares it, and of bundled FFmpeg."""

from __future__ import annotations

import argparse
import importlib.metadata
from typing import Any

from packaging.requirements import Requirement

DESCRIPTION = "the declared licences of all run-time dependencies; none may be AGPL, GPL ones are named"
EXTRAS = ("", "cluster", "models")


def needed(root: str = "notesmith") -> dict[str, str]:
    """Licence by distribution, over all that the root needs with its extras; what is not installed is left out."""
    found: dict[str, str] = {}
    waiting = [root]
    while waiting:
        name = waiting.pop().lower().replace("_", "-")
        if name in found:
            continue
        try:
            held = importlib.metadata.distribution(name)
        except importlib.metadata.PackageNotFoundError:
            continue
        said = held.metadata.get_all("License-Expression") or []
        said += [one.rpartition(" :: ")[2] for one in held.metadata.get_all("Classifier") or [] if "License ::" in one]
        said += [line for one in held.metadata.get_all("License") or [] for line in one.splitlines()[:1]]
        found[name] = said[0] if said else "not declared"
        extras = EXTRAS if name == root else ("",)
        for line in held.requires or []:
            wanted = Requirement(line)
            if wanted.marker is None or any(wanted.marker.evaluate({"extra": one}) for one in extras):
                waiting.append(wanted.name)
    return found


def run(arguments: list[str]) -> dict[str, Any]:
    argparse.ArgumentParser(prog="licences").parse_args(arguments)
    from av._core import library_meta  # the only place where PyAV tells it

    found = needed()
    ffmpeg = str(library_meta["libavcodec"]["license"])
    for name, licence in sorted(found.items()):
        print(f"{name:32} {licence[:80]}")
    print(f"{'(FFmpeg inside the av wheel)':32} {ffmpeg}")
    gpl = {n: text for n, text in {**found, "FFmpeg in av": ffmpeg}.items() if "GPL" in text and "LGPL" not in text}
    agpl = [name for name, text in found.items() if "AGPL" in text or "Affero" in text]
    undeclared = [name for name, text in found.items() if text == "not declared"]
    print(f"\n{len(found)} distributions; AGPL: {agpl or 'none'}; GPL: {gpl or 'none'}; not declared: {undeclared}")
    return {"licences": found, "ffmpeg": ffmpeg, "gpl": gpl, "agpl": agpl, "not_declared": undeclared}
