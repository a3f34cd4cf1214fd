"use strict";
// The moving picture of an attempt, in step with the curve of the reading it stands beside. Nothing is loaded until asked for;
// without scripts the page keeps its pictures, curves and a plain link to the moving picture.
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

  class Player {
    constructor(article, motion, source) {
      Object.assign(this, { article, motion, source, video: null, frame: -1, slow: 1 });
      this.names = motion.lines[article.dataset.line] || [];
      this.verdict = article.dataset.verdict;
      this.at = parseFloat(article.dataset.at);
      this.still = article.querySelector(".frame");
      this.plot = article.querySelector("svg.curve");
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
      button(words.key, "◆", () => this.go(this.at));
      this.pace = button(words.pace, "", () => this.slower());
      this.paced("1×");
      this.clock = bar.appendChild(make("output", { class: "num soft", "aria-live": "off" }));
      this.still.parentElement.append(bar);
      this.still.parentElement.addEventListener("keydown", (event) => {
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

    // The video element is made when first wanted, and takes the still picture's place.
    ready() {
      if (this.video) return Promise.resolve();
      if (this.opening) return this.opening;
      const { width, height } = this.motion;
      this.video = make("video", { src: this.source, width, height, preload: "auto", playsinline: "", "aria-label": words.video });
      this.video.muted = true;
      this.over = draw("svg", { class: "over", viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "xMinYMid", "aria-hidden": "true" });
      const line = Math.max(width, height) / 960;
      this.halo = draw("path", { class: "halo", "stroke-width": 11 * line }, this.over);
      this.bone = draw("path", { class: `bone v-${this.verdict}`, "stroke-width": 6 * line }, this.over);
      this.joints = this.names.map(() => draw("circle", { class: `joint v-${this.verdict}`, r: 8 * line, "stroke-width": 3 * line }, this.over));
      this.still.replaceChildren(this.video, this.over);
      this.video.addEventListener("play", () => this.shown());
      this.video.addEventListener("pause", () => this.shown());
      this.video.addEventListener("seeked", () => this.show(this.nearest(this.video.currentTime)));
      const follow = (_now, picture) => {
        this.show(this.nearest(picture.mediaTime));
        this.video.requestVideoFrameCallback(follow);
      };
      if (this.video.requestVideoFrameCallback) this.video.requestVideoFrameCallback(follow);
      else this.video.addEventListener("timeupdate", () => this.show(this.nearest(this.video.currentTime)));
      this.opening = new Promise((done) => {
        const start = () => {
          this.video.playbackRate = this.slow;
          this.go(this.at);
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
      const { t, start_s: start, points } = this.motion;
      const places = this.names.map((name) => points[name][frame]);
      const whole = places.length > 1 && places.every(Boolean);
      const path = whole ? "M" + places.map(([x, y]) => `${x} ${y}`).join("L") : "M0 0";
      for (const line of [this.halo, this.bone]) line.setAttribute("d", path);
      this.joints.forEach((joint, i) => {
        joint.setAttribute("visibility", places[i] ? "visible" : "hidden");
        if (places[i]) joint.setAttribute("cx", places[i][0]), joint.setAttribute("cy", places[i][1]);
      });
      const time = start + t[frame];
      this.clock.textContent = `${time.toFixed(2)} s`;
      this.article.dataset.frame = frame;
      if (!this.mark) return;
      const { t0, t1, x0, x1 } = this.plot.dataset;
      const share = Math.min(1, Math.max(0, (time - t0) / (t1 - t0)));
      const x = (+x0 + share * (x1 - x0)) * this.plot.viewBox.baseVal.width;
      this.mark.setAttribute("transform", `translate(${x.toFixed(1)})`);
      this.mark.setAttribute("visibility", "visible");
      this.plot.setAttribute("aria-valuenow", frame);
      this.plot.setAttribute("aria-valuetext", this.clock.textContent);
    }

    shown() {
      const running = !this.video.paused;
      this.playing.textContent = running ? "❚❚" : "▶";
      this.playing.setAttribute("aria-label", running ? words.pause : words.play);
      this.playing.title = this.playing.getAttribute("aria-label");
    }

    // A frame is asked for by a time well inside it, so that rounding never gives its neighbour.
    async go(time) {
      if (!this.video) return void (await this.ready(), this.go(time));
      const { t, start_s: start } = this.motion;
      const frame = this.nearest(Number.isFinite(time) ? time - start : 0);
      const next = frame + 1 < t.length ? t[frame + 1] : t[frame] + 0.02;
      this.video.pause();
      this.video.currentTime = (t[frame] + next) / 2;
    }

    async step(by) {
      await this.ready();
      const last = this.motion.t.length - 1;
      const frame = Math.min(last, Math.max(0, (this.frame < 0 ? this.nearest(this.at - this.motion.start_s) : this.frame) + by));
      this.frame = frame;
      await this.go(this.motion.start_s + this.motion.t[frame]);
    }

    async toggle() {
      await this.ready();
      if (!this.video.paused) return this.video.pause();
      for (const other of players) if (other !== this && other.video) other.video.pause();
      if (this.video.ended || this.frame >= this.motion.t.length - 1 || this.frame < 0 || !this.began) this.video.currentTime = 0;
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
        const data = target.querySelector("script.motion");
        const motion = JSON.parse(data.textContent);
        for (const article of target.querySelectorAll("article.reading")) {
          if (article.querySelector(".frame")) players.push(new Player(article, motion, data.dataset.src));
        }
      }
    },
    { rootMargin: "600px" },
  );
  for (const data of document.querySelectorAll("script.motion")) attempts.observe(data.closest("section"));
})();
