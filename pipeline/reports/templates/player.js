"use strict";
// The moving picture of an attempt, in step with the curve of the reading it stands beside, and beside it the athlete's best attempt
// at the same phase. Nothing is loaded until asked for; without scripts the page keeps its pictures, curves and a plain link.
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const words = JSON.parse(document.getElementById("player-words").textContent);
  const make = (name, attributes = {}, text = "") => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text) element.textContent = text;
    return element;
  };
  const draw = (name, attributes, parent) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    parent?.appendChild(element);
    return element;
  };

  // What a page knows of each moving picture, by its name; read when first wanted.
  const known = new Map();
  const motionOf = (name) => {
    const data = name && document.querySelector(`script.motion[data-name="${name}"]`);
    if (data && !known.has(name)) {
      const [from, to] = data.dataset.window.split(" ").map(Number);
      known.set(name, { ...JSON.parse(data.textContent), source: data.dataset.src, from, to });
    }
    return known.get(name);
  };

  // A clip's time laid on another's by phase: key window on key window, true seconds before and after it (as reports/phase.py).
  const toPhase = (time, of, onto) => {
    const long = of.to - of.from, other = onto.to - onto.from;
    if (!(long > 0 && other > 0)) return time - of.from + onto.from;
    const inside = onto.from + (Math.min(long, Math.max(0, time - of.from)) / long) * other;
    return inside + Math.min(0, time - of.from) + Math.max(0, time - of.to);
  };

  // One moving picture with its line, in the place of a still one. The video element is made when first wanted.
  class Screen {
    constructor(still, motion, line, verdict, label) {
      Object.assign(this, { still, motion, verdict, label, video: null, frame: -1 });
      this.names = motion.lines[line] || [];
    }

    ready(at) {
      if (this.opening) return this.opening;
      const { width, height, source } = this.motion;
      this.video = make("video", { src: source, width, height, preload: "auto", playsinline: "", "aria-label": this.label });
      this.video.muted = true;
      this.over = draw("svg", { class: "over", viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "xMinYMid", "aria-hidden": "true" });
      const line = Math.max(width, height) / 960;
      this.halo = draw("path", { class: "halo", "stroke-width": 11 * line }, this.over);
      this.bone = draw("path", { class: `bone v-${this.verdict}`, "stroke-width": 6 * line }, this.over);
      this.joints = this.names.map(() => draw("circle", { class: `joint v-${this.verdict}`, r: 8 * line, "stroke-width": 3 * line }, this.over));
      this.still.replaceChildren(this.video, this.over);
      this.video.addEventListener("seeked", () => this.show(this.nearest(this.video.currentTime)));
      const follow = (_now, picture) => {
        this.show(this.nearest(picture.mediaTime));
        this.video.requestVideoFrameCallback(follow);
      };
      if (this.video.requestVideoFrameCallback) this.video.requestVideoFrameCallback(follow);
      else this.video.addEventListener("timeupdate", () => this.show(this.nearest(this.video.currentTime)));
      this.opening = new Promise((done) => {
        const start = () => {
          this.go(at);
          done();
        };
        this.video.addEventListener("loadeddata", start, { once: true });
      });
      return this.opening;
    }

    nearest(time) {
      const { t } = this.motion;
      let low = 0, high = t.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (t[middle] <= time + 1e-3) low = middle;
        else high = middle - 1;
      }
      return low;
    }

    show(frame) {
      this.frame = frame;
      const { points } = this.motion;
      const places = this.names.map((name) => points[name][frame]);
      const whole = places.length > 1 && places.every(Boolean);
      const path = whole ? "M" + places.map(([x, y]) => `${x} ${y}`).join("L") : "M0 0";
      for (const line of [this.halo, this.bone]) line.setAttribute("d", path);
      this.joints.forEach((joint, i) => {
        joint.setAttribute("visibility", places[i] ? "visible" : "hidden");
        if (places[i]) joint.setAttribute("cx", places[i][0]), joint.setAttribute("cy", places[i][1]);
      });
      this.still.dataset.frame = frame;
      this.shown?.(frame);
    }

    // A frame is asked for by a time well inside it, so that rounding never gives its neighbour.
    go(time) {
      const { t, start_s: start } = this.motion;
      const frame = this.nearest(Number.isFinite(time) ? time - start : 0);
      const next = frame + 1 < t.length ? t[frame + 1] : t[frame] + 0.02;
      this.video.pause();
      this.video.currentTime = (t[frame] + next) / 2;
    }
  }

  class Player {
    constructor(article, motion) {
      Object.assign(this, { article, motion, slow: 1 });
      const { line, at, verdict, mate, mateAt, mateVerdict } = article.dataset;
      this.at = parseFloat(at);
      const still = article.querySelector(".frame");
      this.figure = still.closest("figure");
      this.plot = article.querySelector("svg.curve");
      this.screen = new Screen(still, motion, line, verdict, words.video);
      this.screen.shown = (frame) => this.show(frame);
      const other = motionOf(mate);
      if (other) {
        let place = article.querySelector(".frame.mate");
        if (!place) {
          const shot = make("div", { class: "shot", hidden: "" });
          place = shot.appendChild(make("div", { class: "frame mate" }));
          shot.append(make("p", { class: "soft small" }, words.best));
          still.closest(".shots").append(shot);
        }
        this.mate = new Screen(place, other, line, mateVerdict, words.best);
        this.mateAt = parseFloat(mateAt);
      }
      this.controls();
      if (this.plot) this.cursor();
    }

    controls() {
      const bar = make("div", { class: "player", role: "group", "aria-label": words.group });
      const button = (label, text, act) => {
        const element = make("button", { type: "button", "aria-label": label, title: label }, text);
        element.addEventListener("click", act);
        return bar.appendChild(element);
      };
      this.playing = button(words.play, "▶", () => this.toggle());
      button(words.back, "◀│", () => this.step(-1));
      button(words.on, "│▶", () => this.step(1));
      button(words.key, "◆", () => this.key());
      this.pace = button(words.pace, "", () => this.slower());
      this.paced("1×");
      this.clock = bar.appendChild(make("output", { class: "num soft", "aria-live": "off" }));
      this.figure.append(bar);
      this.figure.addEventListener("keydown", (event) => {
        const move = { ArrowLeft: -1, ArrowRight: 1, ",": -1, ".": 1 }[event.key];
        if (!move || event.altKey || event.ctrlKey || event.metaKey) return;
        event.preventDefault();
        event.stopPropagation();
        this.step(move);
      });
    }

    cursor() {
      const box = this.plot.viewBox.baseVal;
      this.mark = draw("path", { class: "cursor", d: `M0 20V${box.height - 30}`, visibility: "hidden" }, this.plot);
      this.plot.setAttribute("tabindex", "0");
      this.plot.setAttribute("role", "slider");
      this.plot.setAttribute("aria-valuemin", "0");
      this.plot.setAttribute("aria-valuenow", "0");
      this.plot.setAttribute("aria-valuemax", String(this.motion.t.length - 1));
      this.plot.classList.add("live");
      const to = (event) => {
        const place = this.plot.getBoundingClientRect();
        const { t0, t1, x0, x1 } = this.plot.dataset;
        const share = ((event.clientX - place.left) / place.width - x0) / (x1 - x0);
        this.go(+t0 + Math.min(1, Math.max(0, share)) * (t1 - t0));
      };
      this.plot.addEventListener("pointerdown", (event) => {
        this.plot.setPointerCapture(event.pointerId);
        to(event);
      });
      this.plot.addEventListener("pointermove", (event) => this.plot.hasPointerCapture(event.pointerId) && to(event));
      this.plot.addEventListener("keydown", (event) => {
        const move = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[event.key];
        if (!move) return;
        event.preventDefault();
        event.stopPropagation();
        this.step(move);
      });
    }

    async ready() {
      if (!this.video) {
        const mate = this.mate?.ready(this.wanted(this.at));
        if (this.mate) this.mate.still.closest(".shot").hidden = false;
        const own = this.screen.ready(this.at);
        this.video = this.screen.video;
        this.video.addEventListener("play", () => this.shown());
        this.video.addEventListener("pause", () => this.shown());
        this.video.addEventListener("ended", () => this.mate?.video.pause());
        this.opened = Promise.all([own, mate]).then(() => (this.video.playbackRate = this.slow));
      }
      return this.opened;
    }

    // The best attempt's time at the same phase.
    wanted(time) {
      return toPhase(Number.isFinite(time) ? time : this.motion.start_s, this.motion, this.mate?.motion ?? this.motion);
    }

    show(frame) {
      const { t, start_s: start } = this.motion;
      const time = start + t[frame];
      this.clock.textContent = `${time.toFixed(2)} s`;
      this.article.dataset.frame = frame;
      if (this.video && !this.video.paused) this.keepStep(time);
      if (!this.mark) return;
      const { t0, t1, x0, x1 } = this.plot.dataset;
      const share = Math.min(1, Math.max(0, (time - t0) / (t1 - t0)));
      const x = (+x0 + share * (x1 - x0)) * this.plot.viewBox.baseVal.width;
      this.mark.setAttribute("transform", `translate(${x.toFixed(1)})`);
      this.mark.setAttribute("visibility", "visible");
      this.plot.setAttribute("aria-valuenow", frame);
      this.plot.setAttribute("aria-valuetext", this.clock.textContent);
    }

    // While it plays the best attempt runs at the pace of its phase, hurries or waits a little, and jumps where it is far off.
    keepStep(time) {
      const other = this.mate?.video;
      if (!other) return;
      const goal = this.wanted(time) - this.mate.motion.start_s, last = this.mate.motion.t.at(-1);
      if (goal < 0 || goal > last) {
        if (!other.paused) other.pause();
        if (!other.seeking) other.currentTime = Math.min(last, Math.max(0, goal));
        return;
      }
      const pace = (this.wanted(time + 0.02) - this.wanted(time)) / 0.02, late = goal - other.currentTime;
      if (Math.abs(late) > 0.15 && !other.seeking) other.currentTime = goal;
      other.playbackRate = Math.min(4, Math.max(0.0625, this.slow * pace * (1 + Math.min(0.5, Math.max(-0.5, 4 * late)))));
      if (other.paused) other.play().catch(() => {});
    }

    shown() {
      const running = !this.video.paused;
      if (!running && this.mate?.video) this.mate.go(this.wanted(this.motion.start_s + this.motion.t[Math.max(0, this.screen.frame)]));
      this.playing.textContent = running ? "❚❚" : "▶";
      this.playing.setAttribute("aria-label", running ? words.pause : words.play);
      this.playing.title = this.playing.getAttribute("aria-label");
    }

    async go(time) {
      await this.ready();
      this.screen.go(time);
      this.mate?.go(this.wanted(time));
    }

    // Both at the moment they were read.
    async key() {
      await this.go(this.at);
      if (this.mate && Number.isFinite(this.mateAt)) this.mate.go(this.mateAt);
    }

    async step(by) {
      await this.ready();
      const last = this.motion.t.length - 1;
      const from = this.screen.frame < 0 ? this.screen.nearest(this.at - this.motion.start_s) : this.screen.frame;
      const frame = Math.min(last, Math.max(0, from + by));
      this.screen.frame = frame;
      await this.go(this.motion.start_s + this.motion.t[frame]);
    }

    async toggle() {
      await this.ready();
      if (!this.video.paused) return this.video.pause();
      for (const other of players) if (other !== this && other.video) other.video.pause(), other.mate?.video?.pause();
      const { frame } = this.screen;
      if (this.video.ended || frame >= this.motion.t.length - 1 || frame < 0 || !this.began) this.video.currentTime = 0;
      this.began = true;
      await this.video.play();
    }

    paced(shown) {
      this.pace.textContent = shown;
      this.pace.setAttribute("aria-label", `${words.pace}: ${shown}`);
    }

    slower() {
      this.slow = { 1: 0.5, 0.5: 0.25, 0.25: 1 }[this.slow];
      this.paced({ 1: "1×", 0.5: "½×", 0.25: "¼×" }[this.slow]);
      if (this.video) this.video.playbackRate = this.slow;
    }
  }

  const players = [];
  const attempts = new IntersectionObserver(
    (seen) => {
      for (const { isIntersecting, target } of seen) {
        if (!isIntersecting) continue;
        attempts.unobserve(target);
        const motion = motionOf(target.querySelector("script.motion").dataset.name);
        for (const article of target.querySelectorAll("article.reading")) {
          if (article.querySelector(".frame")) players.push(new Player(article, motion));
        }
      }
    },
    { rootMargin: "600px" },
  );
  for (const data of document.querySelectorAll("section > script.motion")) attempts.observe(data.closest("section"));
})();
