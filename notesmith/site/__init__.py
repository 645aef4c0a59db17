"""The published site: a folder of static files, built from a library; only what changed is written."""

from notesmith.site.build import SiteReport, build

__all__ = ["SiteReport", "build"]
