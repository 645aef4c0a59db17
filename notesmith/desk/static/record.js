// Recording from the microphone: every piece goes to the desk as soon as it is there, one after the other.
"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  const token = document.body.dataset.token;
  const start = by("record-start"), pause = by("record-pause"), end = by("record-end");
  const said = by("record-said"), time = by("record-time"), level = by("record-level"), from = by("record-from");
  const PIECE_MS = 2000, RETRY_MS = 2000, LAST_TRIES = 5, SILENT = 0.004, SILENT_S = 8;
  const KINDS = [["audio/webm;codecs=opus", "webm"], ["audio/ogg;codecs=opus", "ogg"], ["audio/mp4", "mp4"]];
  const rest = (ms) => new Promise((done) => setTimeout(done, ms));
  const say = (text) => { if (said.textContent !== text) said.textContent = text; };

  const kind = window.MediaRecorder && KINDS.find(([type]) => MediaRecorder.isTypeSupported(type));
  if (!navigator.mediaDevices?.getUserMedia || !kind) {
    start.disabled = true;
    say("This browser cannot record. Record with a phone or another program, and drop the file under Recordings.");
    return;
  }

  const REFUSED = {
    NotAllowedError: "The browser may not use the microphone. Allow it at the left end of the address line, then start again.",
    NotFoundError: "No microphone was found. Plug one in and start again, or record with a phone and drop the file under Recordings.",
    NotReadableError: "The microphone does not answer. Another program may be using it; close that, then start again.",
    OverconstrainedError: "That microphone is not there any more. Choose another, then start again.",
  };

  async function list() {
    const found = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput" && one.label);
    const chosen = from.value;
    for (const one of found) {
      if (one.deviceId !== "default" && ![...from.options].some((option) => option.value === one.deviceId)) {
        from.add(new Option(one.label, one.deviceId));
      }
    }
    from.value = chosen;
  }
  list().catch(() => {});

  let recorder = null, stream = null, sound = null, upload = null, awake = null;
  let pieces = [], waiting = [], offset = 0, ended = false, lost = "", sending = null;
  let spoken = 0, since = 0, heard = 0;

  // ---- sending: in order, each until the desk has it; what is said no to for good is kept for a file
  async function drain() {
    let failures = 0;
    while (waiting.length && !lost) {
      try {
        const answer = await fetch(`/uploads/${upload}?offset=${offset}`, {
          method: "PUT", headers: { "X-Desk-Token": token }, body: waiting[0],
        });
        if (answer.status >= 500) throw new Error("later");
        if (!answer.headers.get("content-type")?.startsWith("application/json")) {
          const page = new DOMParser().parseFromString(await answer.text(), "text/html");
          lost = page.querySelector("[role=alert]")?.textContent ?? "The desk does not take it.";
          break;
        }
        const here = (await answer.json()).offset;
        const size = waiting[0].size;
        if (here === offset + size) { waiting.shift(); offset = here; }  // also a piece that had arrived unanswered
        else if (here > offset && here < offset + size) { waiting[0] = waiting[0].slice(here - offset); offset = here; }
        else if (here !== offset) { lost = "Another page sends to the same recording."; break; }
        failures = 0;
        if (!ended) tell();
      } catch {
        failures += 1;
        if (!ended) say("The desk does not answer. The recording goes on and is kept in this page until it does.");
        if (ended && failures > LAST_TRIES) { lost = "The desk does not answer; is the program running?"; break; }
        await rest(RETRY_MS);
      }
    }
  }
  function push() {
    sending ??= drain().finally(() => { sending = null; if (lost) tell(); else if (waiting.length) push(); });
    return sending;
  }
  function tell() {
    if (lost) { say(`${lost} The recording can be saved as a file when it is ended, and dropped under Recordings.`); return; }
    if (recorder?.state === "paused") say("Paused. What was recorded is kept.");
    else if (now() - heard > SILENT_S * 1000) say("Nothing is heard. Is the right microphone chosen, and switched on?");
    else say("Recording.");
  }

  // ---- the clock and the loudness
  const now = () => spoken + (since ? performance.now() - since : 0);
  function clock() {
    const s = Math.floor(now() / 1000), two = (n) => String(n).padStart(2, "0");
    time.textContent = s < 3600 ? `${Math.floor(s / 60)}:${two(s % 60)}` : `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
  }
  function watch() {
    sound = new AudioContext();
    const meter = sound.createAnalyser(), samples = new Float32Array(2048);
    meter.fftSize = 2048;
    sound.createMediaStreamSource(stream).connect(meter);
    const timer = setInterval(() => {
      if (ended || !recorder) { clearInterval(timer); return; }
      meter.getFloatTimeDomainData(samples);
      const loud = Math.sqrt(samples.reduce((sum, x) => sum + x * x, 0) / samples.length);
      level.value = recorder.state === "recording" ? Math.min(1, Math.sqrt(loud) * 1.6) : 0;
      if (loud > SILENT || recorder.state === "paused") heard = now();
      clock();
    }, 100);
  }

  async function begin() {
    start.disabled = true;
    say("");
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: {
        channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: true,
        ...(from.value ? { deviceId: { exact: from.value } } : {}),
      } });
    } catch (error) {
      start.disabled = false;
      say(REFUSED[error.name] ?? `The microphone cannot be used (${error.name}).`);
      return;
    }
    list().catch(() => {});
    try {
      const answer = await fetch("/record", {
        method: "POST", headers: { "X-Desk-Token": token },
        body: new URLSearchParams({ title: by("record-title").value, container: kind[1] }),
      });
      if (!answer.ok) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        throw new Error(page.querySelector("[role=alert]")?.textContent);
      }
      upload = (await answer.json()).id;
    } catch (error) {
      stream.getTracks().forEach((track) => track.stop());
      start.disabled = false;
      say(error instanceof TypeError ? "The desk does not answer; is the program running?" : error.message);
      return;
    }
    recorder = new MediaRecorder(stream, { mimeType: kind[0], audioBitsPerSecond: 64000 });
    recorder.addEventListener("dataavailable", (event) => {
      if (!event.data.size) return;
      pieces.push(event.data);
      waiting.push(event.data);
      push();
    });
    recorder.addEventListener("stop", finish);
    // A microphone that is pulled out ends the recording; what there is, is used.
    stream.getTracks().forEach((track) => track.addEventListener("ended", () => stop()));
    recorder.start(PIECE_MS);
    since = performance.now();
    watch();
    pause.disabled = end.disabled = false;
    from.disabled = by("record-title").disabled = true;
    pause.focus();
    tell();
    awake = await navigator.wakeLock?.request("screen").catch(() => null);
  }

  function hold() {
    if (recorder.state === "recording") {
      recorder.requestData();
      recorder.pause();
      spoken = now();
      since = 0;
    } else {
      recorder.resume();
      since = performance.now();
    }
    pause.firstChild.textContent = recorder.state === "paused" ? "Go on " : "Pause ";
    tell();
  }
  function stop() {
    if (!recorder || recorder.state === "inactive") return;
    pause.disabled = end.disabled = true;
    recorder.stop();
  }
  async function finish() {
    ended = true;
    spoken = now();
    since = 0;
    stream.getTracks().forEach((track) => track.stop());
    sound?.close();
    awake?.release();
    level.value = 0;
    say("Sending the last seconds.");
    while (waiting.length && !lost) await push();
    if (!lost) {
      pieces = [];
      by("record-done").action = `/record/${upload}/finish`;
      by("record-done").requestSubmit();
      return;
    }
    by("record-file").href = URL.createObjectURL(new Blob(pieces, { type: kind[0] }));
    by("record-file").download = `recording.${kind[1] === "mp4" ? "m4a" : kind[1]}`;
    by("record-save").hidden = false;
    say(`${lost} Save the recording as a file, start the desk again, and drop the file under Recordings.`);
    by("record-file").focus();
  }

  start.addEventListener("click", begin);
  pause.addEventListener("click", hold);
  end.addEventListener("click", stop);
  window.addEventListener("beforeunload", (event) => {
    if (recorder && (recorder.state !== "inactive" || waiting.length)) event.preventDefault();
  });
})();
