"""Clips of a recording for the ear, as WAV."""

from __future__ import annotations

import io
import wave

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from notesmith.desk.context import desk_of, lecture_of, number
from notesmith.errors import InputError
from notesmith.recording import RATE_HZ, clip
from notesmith.transcript import TimeSpan

LONGEST_CLIP_MS = 60_000


def clip_wav(request: Request) -> Response:
    """GET /clip/{lecture}.wav?start=ms&end=ms: mono, 16 bit, 16 kHz; at most a minute."""
    desk = desk_of(request)
    start = number(request.query_params.get("start", ""), "start")
    end = number(request.query_params.get("end", ""), "end")
    if not 0 < end - start <= LONGEST_CLIP_MS:
        raise InputError("a clip is at most a minute long")
    with desk.store() as store:
        lecture = lecture_of(store, request.path_params["lecture"])
    if lecture.media is None:
        raise InputError("this lecture came as a transcript, without sound")
    samples = clip(desk.course.media_path(lecture.media), TimeSpan(start, end))
    body = io.BytesIO()
    with wave.open(body, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return Response(body.getvalue(), media_type="audio/wav", headers={"cache-control": "private, max-age=3600"})
