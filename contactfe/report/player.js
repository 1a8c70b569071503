"use strict";
(() => {
  for (const link of document.querySelectorAll("a[data-own]")) link.href = link.closest("figure").querySelector("img").src;
  const data = JSON.parse(document.getElementById("frames").textContent);
  const frames = data.frames, last = frames.length - 1;
  const id = (name) => document.getElementById(name);
  const slider = id("turn"), play = id("play"), still = matchMedia("(prefers-reduced-motion: reduce)");
  const DURATION = 7000, PAUSE = 800;
  const largest = Math.max(1, ...frames.map((frame) => Math.max(...frame.l)));
  let at = 0, running = 0, before = 0;
  document.documentElement.classList.add("live");

  const number = (v) => {
    const size = Math.abs(v);
    if (v === 0) return "0";
    if (size >= 1000) return v.toFixed(0);
    if (size < 0.1) return String(Number(v.toPrecision(3)));
    return size < 10 ? v.toFixed(2) : v.toFixed(1);
  };
  const imperial = (t) => {
    const feet = t / 1.3558179483314004;
    return feet < 20 ? number(12 * feet) + " lbf·in" : number(feet) + " lbf·ft";
  };
  const torque = (t) => data.inch ? imperial(t) + " (" + number(t) + " N·m)" : number(t) + " N·m (" + imperial(t) + ")";
  const inUnit = (v, unit) => number(v / unit[0]) + " " + unit[1];
  const mix = (a, b, f) => a + (b - a) * f;
  const path = (loops, a, b, f) => {
    let k = 0, out = "";
    for (const loop of loops) {
      out += "M";
      for (let i = 0; i < loop.length; i += 2, k += 2) {
        const x = loop[i] + mix(a[k], b[k], f), y = loop[i + 1] + mix(a[k + 1], b[k + 1], f);
        out += (i ? " " : "") + x.toFixed(1) + "," + y.toFixed(1);
      }
      out += "Z";
    }
    return out;
  };
  const closed = (v, from, to) => {
    let out = "M";
    for (let i = from; i < to; i += 2) out += (i > from ? " " : "") + v[i] + "," + v[i + 1];
    return out + "Z";
  };
  const bars = (frame) => {
    let pressed = "", crushed = "", edge = "";
    for (let k = 0; k < frame.c.length; k++) {
      const b = frame.b, i = 8 * k, one = closed(b, i, i + 8);
      if (frame.c[k] === "1") {
        crushed += one;
        edge += "M" + b[i] + "," + b[i + 1] + " " + b[i + 2] + "," + b[i + 3];
      } else pressed += one;
    }
    id("pressed").setAttribute("d", pressed);
    id("crushed").setAttribute("d", crushed);
    id("edge").setAttribute("d", edge);
    id("yielded").setAttribute("d", frame.z.map((ring) => closed(ring, 0, ring.length)).join(""));
  };

  const show = (where) => {
    at = Math.min(Math.max(where, 0), last);
    const k = Math.floor(at), f = at - k, a = frames[k], b = frames[Math.min(k + 1, last)];
    const near = f < 0.5 ? a : b;
    const r = mix(a.r, b.r, f), t = mix(a.t, b.t, f);
    const place = a.p.map((v, i) => mix(v, b.p[i], f));
    const move = "rotate(" + place[0].toFixed(3) + ") translate(" + place[1].toFixed(1) + " " + place[2].toFixed(1) + ")";
    for (const group of document.querySelectorAll("#stage .turning")) group.setAttribute("transform", move);
    id("wrench-edge").setAttribute("d", path(data.w, a.w, b.w, f));
    id("fastener-edge").setAttribute("d", path(data.f, a.f, b.f, f));
    bars(near);
    const x = (data.x[0] + data.x[1] * r).toFixed(1), y = (data.y[0] + data.y[1] * t).toFixed(1);
    id("cursor").setAttribute("transform", "translate(" + x + " " + y + ")");
    id("cursor-line").setAttribute("x1", x);
    id("cursor-line").setAttribute("x2", x);
    id("now-rotation").textContent = number(r) + "°";
    id("now-torque").textContent = torque(t);
    id("now-spread").textContent = inUnit(mix(a.s, b.s, f), data.su);
    a.l.map((v, i) => mix(v, b.l[i], f)).forEach((force, i) => {
      id("load-" + (i + 1)).textContent = inUnit(force, data.lu);
      id("share-" + (i + 1)).style.width = (100 * force / largest).toFixed(1) + "%";
    });
    slider.value = String(Math.round(at));
    slider.setAttribute("aria-valuetext", number(r) + " deg, " + torque(t));
    for (const button of document.querySelectorAll("[data-frame]"))
      button.classList.toggle("here", Number(button.dataset.frame) === at);
  };

  const stop = () => {
    running = 0;
    play.textContent = "Play";
    play.setAttribute("aria-pressed", "false");
  };
  const along = (now) => {
    if (!running) return;
    if (still.matches) {
      show(Math.floor(at) + 1);
      if (at < last) setTimeout(() => along(0), PAUSE);
      else stop();
      return;
    }
    const step = Math.min(now - before, 100) / DURATION * (frames[last].r - frames[0].r);
    before = now;
    let k = Math.floor(at), r = mix(frames[k].r, frames[Math.min(k + 1, last)].r, at - k) + step;
    while (k < last && frames[k + 1].r <= r) k++;
    if (k >= last) { show(last); stop(); return; }
    const width = frames[k + 1].r - frames[k].r;
    show(Math.max(k + (width > 0 ? (r - frames[k].r) / width : 0), at + 1e-4));
    requestAnimationFrame(along);
  };
  play.addEventListener("click", () => {
    if (running) { stop(); return; }
    if (at >= last) show(0);
    running = 1;
    play.textContent = "Pause";
    play.setAttribute("aria-pressed", "true");
    if (still.matches) { along(0); return; }
    before = performance.now();
    requestAnimationFrame(along);
  });
  slider.addEventListener("input", () => { stop(); show(Number(slider.value)); });
  for (const button of document.querySelectorAll("[data-frame]"))
    button.addEventListener("click", () => { stop(); show(Number(button.dataset.frame)); });

  const curve = id("curve");
  const seek = (event) => {
    const box = curve.getBoundingClientRect();
    const r = ((event.clientX - box.left) / box.width * curve.viewBox.baseVal.width - data.x[0]) / data.x[1];
    let best = 0;
    frames.forEach((frame, i) => { if (Math.abs(frame.r - r) < Math.abs(frames[best].r - r)) best = i; });
    stop();
    show(best);
  };
  curve.addEventListener("pointerdown", (event) => { curve.setPointerCapture(event.pointerId); seek(event); });
  curve.addEventListener("pointermove", (event) => { if (event.buttons) seek(event); });
  show(0);
})();
