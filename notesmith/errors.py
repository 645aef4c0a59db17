"""Every error a user can meet, in one tree.

    NotesmithError
    ├── InputError            something the user gave cannot be used
    │   ├── RecordingError    an audio or video file
    │   ├── CaptionError      a transcript made elsewhere
    │   ├── VocabularyError   a vocabulary file (names file and line)
    │   ├── CourseError       a course folder or its settings
    │   └── DocumentError     a document to check or to import
    ├── ModelError            a speech or language model is missing or damaged
    ├── StoreError            the course store
    │   ├── ConflictError     somebody else changed the same thing meanwhile
    │   └── BusyError         another program holds the store
    ├── OutputError           a result could not be written (permission, full disk)
    └── Cancelled             the user stopped the work; what was finished is kept

The message is one line: what is wrong and what to do. The command line prints it and exits with
``exit_code``; nothing else in the package prints or exits.
"""


class NotesmithError(Exception):
    """Base of all errors shown to a user; ``str(error)`` is one clear line."""

    exit_code = 1


class InputError(NotesmithError):
    """Something the user gave cannot be used."""

    exit_code = 2


class RecordingError(InputError):
    """An audio or video file cannot be used."""


class CaptionError(InputError):
    """A transcript made elsewhere cannot be read."""


class VocabularyError(InputError):
    """A vocabulary file is wrong; the message names file and line."""


class CourseError(InputError):
    """A course folder or its settings cannot be used."""


class DocumentError(InputError):
    """A document cannot be read."""


class ModelError(NotesmithError):
    """A speech or language model is missing or damaged."""

    exit_code = 3


class StoreError(NotesmithError):
    """The course store cannot be used."""

    exit_code = 4


class ConflictError(StoreError):
    """Somebody else changed the same thing meanwhile; nothing was overwritten."""


class BusyError(StoreError):
    """Another program holds the store; try again when it has finished."""


class OutputError(NotesmithError):
    """A result could not be written; what existed before is untouched."""

    exit_code = 5


class Cancelled(NotesmithError):  # noqa: N818 - not a fault
    """The user stopped the work; what was finished is kept."""

    exit_code = 130
