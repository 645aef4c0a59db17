"""Notesmith: from a recording of a materia medica lecture to published, searchable study notes."""

__version__ = "0.1.0"
