// Bench: two photos in one frame, with a wipe, a blink, the outline of what both show, and the visible change.
(function () {
  var SVG = "http://www.w3.org/2000/svg";
  var still = window.matchMedia("(prefers-reduced-motion: reduce)");
  var BLINK_MS = 900; // well below three changes a second (WCAG 2.3.1)

  function make(name, attributes, parent) {
    var svg = ["svg", "use", "polygon"].indexOf(name) >= 0;
    var element = svg ? document.createElementNS(SVG, name) : document.createElement(name);
    Object.keys(attributes).forEach(function (key) { element.setAttribute(key, attributes[key]); });
    parent.appendChild(element);
    return element;
  }

  function picture(parent, data, side) {
    var box = "0 0 " + data[side + "w"] + " " + data[side + "h"];
    var alt = data[side === "a" ? "altA" : "altB"];
    var svg = make("svg", { viewBox: box, role: "img", "aria-label": alt, class: "layer " + side }, parent);
    make("use", { href: "#" + data[side] }, svg);
    return svg;
  }

  // The map from b's frame into a's (both of width 1) as a CSS matrix for a stage of the given width.
  function css(map, width) {
    var m = map.map(Number);
    return "matrix3d(" + [
      m[0], m[3], 0, m[6] / width,
      m[1], m[4], 0, m[7] / width,
      0, 0, 1, 0,
      m[2] * width, m[5] * width, 0, m[8]
    ].join(",") + ")";
  }

  function Bench(root) {
    var self = this;
    this.stage = root.querySelector("[data-stage]");
    this.controls = root.querySelector("[data-controls]");
    this.now = root.querySelector("[data-now]");
    this.pairs = Array.prototype.slice.call(root.querySelectorAll("[data-pair]"));
    this.wipe = root.querySelector("[data-wipe]");
    this.blink = root.querySelector("[data-blink]");
    this.outline = root.querySelector("[data-outline]");
    this.heat = root.querySelector("[data-heat]");
    this.pick = root.querySelector("[data-pick]");
    this.timer = 0;
    this.wipe.addEventListener("input", function () { self.stop(); self.draw(); });
    this.blink.addEventListener("click", function () { self.toggleBlink(); });
    this.outline.addEventListener("click", function () { press(self.outline, !pressed(self.outline)); self.draw(); });
    this.heat.addEventListener("click", function () { press(self.heat, !pressed(self.heat)); self.draw(); });
    if (this.pick) this.pick.addEventListener("change", function () { self.show(Number(self.pick.value)); });
    this.show(0);
    if (window.ResizeObserver) new ResizeObserver(function () { self.place(); }).observe(this.stage);
  }

  function pressed(button) { return button.getAttribute("aria-pressed") === "true"; }
  function press(button, on) { button.setAttribute("aria-pressed", String(on)); }

  Bench.prototype.show = function (index) {
    var data = this.pairs[index].dataset;
    this.data = data;
    this.map = data.matrix ? data.matrix.split(" ") : null;
    this.stop();
    var usable = Boolean(data.a && data.b);
    this.stage.hidden = this.controls.hidden = !usable;
    this.stage.textContent = "";
    if (!usable) {
      this.now.textContent = "One of the two has no picture to compare.";
      return;
    }
    this.stage.style.aspectRatio = data.aw + " / " + data.ah;
    picture(this.stage, data, "a");
    this.over = make("div", { class: "over" }, this.stage);
    this.b = picture(this.over, data, "b");
    this.heatmap = null;
    this.region = make("svg", { viewBox: "0 0 " + data.aw + " " + data.ah, class: "layer region", "aria-hidden": "true" }, this.stage);
    if (data.outlineA) {
      make("polygon", { points: data.outlineA, class: "halo" }, this.region);
      make("polygon", { points: data.outlineA, class: "edge" }, this.region);
    }
    this.outline.disabled = !data.outlineA;
    this.heat.disabled = !data.change;
    this.line = make("div", { class: "line" }, this.stage);
    this.place();
    this.draw();
  };

  Bench.prototype.place = function () {
    if (!this.b) return;
    var width = this.stage.clientWidth;
    this.b.style.height = width * this.data.bh / this.data.bw + "px";
    if (this.map && width) this.b.style.transform = css(this.map, width);
  };

  Bench.prototype.draw = function () {
    var at = Number(this.wipe.value);
    var first = this.data.nameA, second = this.data.nameB;
    this.wipe.setAttribute("aria-valuetext", at + " % " + first + ", " + (100 - at) + " % " + second);
    this.over.style.clipPath = this.whole ? "none" : "inset(0 0 0 " + at + "%)";
    this.over.style.visibility = this.whole === "a" ? "hidden" : "visible";
    this.line.hidden = Boolean(this.whole);
    this.line.style.left = at + "%";
    this.region.style.display = pressed(this.outline) ? "" : "none";
    this.drawHeat();
    var aligned = this.map ? "aligned to the first" : "not aligned, the motion could not be measured";
    this.now.textContent = this.whole
      ? (this.whole === "a" ? first : second) + " alone"
      : "Left " + first + ", right " + second + ", " + aligned;
  };

  Bench.prototype.stop = function () {
    clearInterval(this.timer);
    this.timer = 0;
    this.whole = null;
    press(this.blink, false);
  };

  // With reduced motion nothing moves by itself: each press shows the other photo, a third the wipe again.
  Bench.prototype.toggleBlink = function () {
    var self = this;
    if (still.matches) {
      this.whole = this.whole === "a" ? "b" : this.whole === "b" ? null : "a";
      press(this.blink, Boolean(this.whole));
    } else if (this.timer) {
      this.stop();
    } else {
      press(this.blink, true);
      this.whole = "a";
      this.timer = setInterval(function () {
        self.whole = self.whole === "a" ? "b" : "a";
        self.draw();
      }, BLINK_MS);
    }
    this.draw();
  };

  Bench.prototype.drawHeat = function () {
    if (this.heatmap) this.heatmap.hidden = !pressed(this.heat);
    if (!pressed(this.heat) || this.heatmap || !this.data.change) return;
    this.heatmap = make("canvas", { class: "layer heat", role: "img", "aria-label": "Where the second picture shows something else than the first" }, this.stage);
    heatmap(this.heatmap, this.data.change.split(" "));
  };

  document.addEventListener("visibilitychange", function () {
    if (document.hidden) benches.forEach(function (bench) { if (bench.timer) { bench.stop(); bench.draw(); } });
  });

  // Benches are set up when they come near the view; a page of hundreds opens at once.
  var benches = [];
  var roots = Array.prototype.slice.call(document.querySelectorAll("[data-bench]"));
  function set(root) { benches.push(new Bench(root)); }
  if (!window.IntersectionObserver) return roots.forEach(set);
  var near = new IntersectionObserver(function (entries) {
    entries.forEach(function (entry) {
      if (!entry.isIntersecting) return;
      near.unobserve(entry.target);
      set(entry.target);
    });
  }, { rootMargin: "1000px" });
  roots.forEach(function (root) { near.observe(root); });
})();
