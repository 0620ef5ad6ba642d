/* A code before the camera is as good as one typed with Enter. Everything works by typing without this. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("[data-scan]"), box = form && form.querySelector("[data-camera]");
  if (!box) return;
  const field = form.querySelector("[data-scan-into]"), picture = box.querySelector("[data-camera-picture]");
  const start = box.querySelector("[data-camera-start]"), stop = box.querySelector("[data-camera-stop]");
  const say = (word) => { box.querySelector("[data-camera-says]").textContent = word ? box.dataset[word] : ""; };
  const PAUSE = 150;  // ms between two looks: a telephone stays cool and a code is still caught at once
  const WHY = { NotAllowedError: "denied", SecurityError: "denied", NotFoundError: "missing", OverconstrainedError: "missing" };
  let stream = null, detector = null;

  function shown(on) {
    picture.hidden = stop.hidden = !on;
    start.hidden = on;
  }

  function end(word) {
    if (stream) for (const track of stream.getTracks()) track.stop();
    stream = picture.srcObject = null;
    shown(false);
    say(word);
  }

  async function look(mine) {
    while (stream === mine) {
      const found = picture.readyState >= 2 ? await detector.detect(picture) : [];
      if (stream !== mine) return;
      if (found.length) {
        field.value = found[0].rawValue;
        end("");
        form.requestSubmit();
        return;
      }
      await new Promise((done) => { setTimeout(done, PAUSE); });
    }
  }

  start.addEventListener("click", async () => {
    start.hidden = true;
    say("looking");
    try {
      detector = detector || new window.BarcodeDetector();
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      picture.srcObject = stream;
      shown(true);
      await picture.play();
      await look(stream);
    } catch (problem) {
      end(problem.name === "AbortError" ? "" : WHY[problem.name] || "failed");  // aborted: stopped before it ran
    }
  });
  stop.addEventListener("click", () => end(""));
  window.addEventListener("pagehide", () => end(""));

  box.hidden = false;
  if (!window.isSecureContext) say("unsafe");
  else if (!("BarcodeDetector" in window) || !navigator.mediaDevices) say("none");
  else start.hidden = false;
});
