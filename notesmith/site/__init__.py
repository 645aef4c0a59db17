"""The published site: static pages that any web host or a USB stick can serve."""

from notesmith.site.build import SiteReport, build

__all__ = ["SiteReport", "build"]
