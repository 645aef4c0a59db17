"""The course store: one SQLite file that keeps what cannot be rebuilt and caches what can."""

from notesmith.store.store import Store, StoredTranscript, now_utc

__all__ = ["Store", "StoredTranscript", "now_utc"]
