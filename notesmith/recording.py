"""Recordings: what a file holds, its sound in pieces, and the copy that goes on the web.

PyAV reads every container and codec FFmpeg knows. Sound is mono float32 at 16 kHz, -1 to 1.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import av
import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.errors import RecordingError
from notesmith.files import output_errors, sha256_of, unfinished
from notesmith.transcript import TimeSpan

RATE_HZ = 16_000
WEB_RATE_HZ = 24_000
WEB_BITS_PER_SECOND = 48_000
# A block is decoded, searched for speech and forgotten, so that a day-long file needs no more memory than this. The
# model's features of 45 minutes of speech took 3.4 GB at their peak.
BLOCK_MS = 30 * 60 * 1000
# The cut between two blocks is put at the quietest moment of this stretch.
CUT_SEARCH_MS = 90_000
# Containers round their durations; a recording that ends this much early is cut off.
CUT_OFF_MS = 15_000
MAX_BAD_FRAMES = 200

Sound = NDArray[np.float32]


class RecordingInfo(msgspec.Struct, frozen=True):
    """What a recording says of itself. ``duration_ms`` is 0 where the container does not tell."""

    sha256: str
    duration_ms: int
    metadata: Mapping[str, str]


class SoundBlock(msgspec.Struct, frozen=True):
    """A stretch of sound: ``samples`` is (n,) float32 at 16 kHz, ``start_ms`` its place in the recording."""

    number: int
    start_ms: int
    samples: Sound


def probe(path: Path) -> RecordingInfo:
    """Look at a recording without decoding all of it.

    Raises RecordingError for an empty file, one that is no recording, and one without sound.
    """
    _require_content(path)
    with _opened(path) as container:
        duration = container.duration
        metadata = {str(key).lower(): str(value) for key, value in container.metadata.items()}
        stream = container.streams.audio[0]
        metadata |= {str(key).lower(): str(value) for key, value in stream.metadata.items()}
        try:
            next(container.decode(stream))
        except StopIteration:
            raise RecordingError(f"{path}: holds no sound that can be decoded; export it again as mp3 or m4a") from None
        except av.FFmpegError as error:
            raise RecordingError(f"{path}: its sound cannot be decoded ({_reason(error)}); export it again") from error
    return RecordingInfo(sha256_of(path), int(duration / 1000) if duration else 0, metadata)


def _require_content(path: Path) -> None:
    try:
        size = path.stat().st_size
    except OSError as error:
        raise RecordingError(f"{path}: cannot be read ({error.strerror})") from error
    if size == 0:
        raise RecordingError(f"{path}: is empty (0 bytes); copy the recording again")


def _opened(path: Path) -> av.container.InputContainer:
    try:
        container = av.open(str(path), mode="r", metadata_errors="ignore")
    except av.FFmpegError as error:
        raise RecordingError(
            f"{path}: is not a recording this program can read, or is cut off ({_reason(error)}); "
            "export it again as mp3, m4a, wav, ogg, flac, mp4, webm or mkv"
        ) from error
    if not container.streams.audio:
        container.close()
        raise RecordingError(f"{path}: has no sound track; name the recording that has the voice")
    return container


def _reason(error: av.FFmpegError) -> str:
    return (error.strerror or str(error)).strip()


def decode_pieces(path: Path, rate_hz: int = RATE_HZ) -> Iterator[Sound]:
    """The sound in small pieces, each (n,) float32. Damaged frames are passed over, as players do.

    Raises RecordingError where the recording ends well before its container says, or is damaged throughout.
    """
    bad = 0
    samples = 0
    with _opened(path) as container:
        stream = container.streams.audio[0]
        stream.codec_context.thread_type = "AUTO"
        declared_ms = int(container.duration / 1000) if container.duration else 0
        # 16-bit steps, as faster-whisper decodes, so that the model hears the very same numbers.
        resampler = av.AudioResampler(format="s16", layout="mono", rate=rate_hz)
        for packet in _packets(container, stream):
            # Packet by packet, because a decoding generator that raised once never goes on.
            try:
                frames = packet.decode()
            except av.EOFError:
                break
            except av.FFmpegError as error:
                bad += 1
                if bad > MAX_BAD_FRAMES:
                    raise RecordingError(f"{path}: is damaged ({_reason(error)}); copy the recording again") from error
                continue
            for frame in frames:
                frame.pts = None  # gaps in a container's clock are not gaps in the speech
                for piece in resampler.resample(frame):
                    samples += piece.samples
                    yield _flat(piece)
        for piece in resampler.resample(None):
            samples += piece.samples
            yield _flat(piece)
    heard_ms = samples * 1000 // rate_hz
    if heard_ms == 0:
        raise RecordingError(f"{path}: holds no sound that can be decoded; export it again as mp3 or m4a")
    if declared_ms - heard_ms > max(CUT_OFF_MS, declared_ms // 50):
        raise RecordingError(
            f"{path}: is cut off after {heard_ms // 60000} min {heard_ms // 1000 % 60} s of "
            f"{declared_ms // 60000} min; copy the recording again, or cut it there with an audio editor"
        )


def _packets(container: av.container.InputContainer, stream: Any) -> Iterator[Any]:
    """The stream's packets up to the first place where the container itself cannot be read."""
    packets = container.demux(stream)
    while True:
        try:
            yield next(packets)
        except (StopIteration, av.FFmpegError):
            return


def _flat(frame: av.AudioFrame) -> Sound:
    return np.asarray(frame.to_ndarray(), dtype=np.float32).reshape(-1) / np.float32(32768.0)


def sound_blocks(path: Path, block_ms: int = BLOCK_MS) -> Iterator[SoundBlock]:
    """The whole recording as blocks of at most ``block_ms``, cut where it is quiet; deterministic."""
    length, search = block_ms * RATE_HZ // 1000, CUT_SEARCH_MS * RATE_HZ // 1000
    held: list[Sound] = []
    held_length = 0
    number = start = 0
    for piece in decode_pieces(path):
        held.append(piece)
        held_length += len(piece)
        while held_length >= length:
            whole = np.concatenate(held)
            cut = _quiet_cut(whole, max(1, length - search), length)
            yield SoundBlock(number, start * 1000 // RATE_HZ, whole[:cut])
            number, start = number + 1, start + cut
            held, held_length = [whole[cut:]], len(whole) - cut
    if held_length:
        yield SoundBlock(number, start * 1000 // RATE_HZ, np.concatenate(held))


def _quiet_cut(samples: Sound, first: int, last: int) -> int:
    """The middle of the quietest half second between two sample numbers."""
    step = RATE_HZ // 2
    steps = (last - first) // step
    if steps < 1:
        return last
    power = np.square(samples[first : first + steps * step]).reshape(steps, step).mean(axis=1)
    return first + int(np.argmin(power)) * step + step // 2


def clip(path: Path, span: TimeSpan) -> Sound:
    """The sound of a short span, (n,) float32 at 16 kHz; decodes from the nearest place before it."""
    with _opened(path) as container:
        stream = container.streams.audio[0]
        begin = max(0, span.start_ms - 1000)
        if begin:
            container.seek(begin * 1000, backward=True)
        resampler = av.AudioResampler(format="s16", layout="mono", rate=RATE_HZ)
        pieces: list[Sound] = []
        offset_ms: float | None = None
        for frame in container.decode(stream):
            if frame.time is not None and offset_ms is None:
                offset_ms = frame.time * 1000
            if frame.time is not None and frame.time * 1000 > span.end_ms + 500:
                break
            frame.pts = None
            pieces.extend(_flat(piece) for piece in resampler.resample(frame))
    if not pieces:
        return np.zeros(0, np.float32)
    whole = np.concatenate(pieces)
    first = max(0, int((span.start_ms - (offset_ms or 0.0)) * RATE_HZ / 1000))
    return whole[first : first + span.duration_ms * RATE_HZ // 1000]


def encode_web_copy(path: Path, target: Path, mute: Sequence[TimeSpan] = ()) -> None:
    """Write the copy that is published: mono MP3 at a constant rate, with the given spans silent.

    A constant rate lets a browser seek by time on any plain file server. Container metadata is left behind: it can
    name people. Raises RecordingError, OutputError; an earlier copy is then untouched.
    """
    spans = sorted((span.start_ms * WEB_RATE_HZ // 1000, span.end_ms * WEB_RATE_HZ // 1000) for span in mute)
    with (
        output_errors(target),
        unfinished(target) as temporary,
        av.open(str(temporary), "w", format="mp3", options={"write_xing": "0"}) as container,
    ):
        stream = container.add_stream("libmp3lame", rate=WEB_RATE_HZ, layout="mono")
        stream.bit_rate = WEB_BITS_PER_SECOND
        stream.codec_context.flags |= av.codec.context.Flags.bitexact
        at = 0
        for piece in decode_pieces(path, WEB_RATE_HZ):
            quiet = _muted(piece, at, spans)
            frame = av.AudioFrame.from_ndarray(quiet.reshape(1, -1), format="fltp", layout="mono")
            frame.sample_rate = WEB_RATE_HZ
            frame.pts = at
            at += len(piece)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _muted(piece: Sound, at: int, spans: Sequence[tuple[int, int]]) -> Sound:
    quiet = piece
    for start, end in spans:
        if start < at + len(piece) and end > at:
            if quiet is piece:
                quiet = piece.copy()
            quiet[max(0, start - at) : max(0, end - at)] = 0.0
    return quiet
